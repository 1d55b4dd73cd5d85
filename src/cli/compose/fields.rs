//! A recipe out of the options of `compose`.

use super::{CannotCompose, ComposeArgs, OctetsArg};
use crate::{
    compose::{AcceptRecipe, DataOctets, DataRecipe, JoinRequestRecipe, Recipe, Signature},
    crypto::{Scheme, mic::JoinReqType},
    frame::{
        CfList, DlSettings, FCtrl, FType, JoinAccept, JoinRequest, MacVersion, Mhdr, Mic,
        Proprietary, RejoinBody, RejoinRequest, RxDelay, command,
    },
    reading::{Bound, Bunch, KeyRole},
};

/// Reads what a Join-Accept answers.
pub(super) fn answers(text: &str) -> Result<JoinReqType, String> {
    match text {
        "join" => Ok(JoinReqType::Join),
        "rejoin-0" => Ok(JoinReqType::Rejoin(0)),
        "rejoin-1" => Ok(JoinReqType::Rejoin(1)),
        "rejoin-2" => Ok(JoinReqType::Rejoin(2)),
        _ => Err("one of join, rejoin-0, rejoin-1, rejoin-2".into()),
    }
}

/// Messages that an option has a place in: one letter each.
///
/// `j` Join-Request, `a` Join-Accept, `r` Rejoin-Request, `u` data up, `d` data down, `p` proprietary.
type Places = &'static str;

/// One row an option of a field: its name, where it has a place, whether it was given.
type FieldRow = (&'static str, Places, fn(&ComposeArgs) -> bool);

const FIELDS: &[FieldRow] = &[
    ("--mhdr", "jarudp", |a| a.mhdr.is_some()),
    ("--mic", "jarud", |a| a.mic.is_some()),
    ("--join-eui", "jar", |a| a.join_eui.is_some()),
    ("--dev-eui", "jar", |a| a.dev_eui.is_some()),
    ("--dev-nonce", "jar", |a| a.dev_nonce.is_some()),
    ("--join-nonce", "a", |a| a.join_nonce.is_some()),
    ("--net-id", "ar", |a| a.net_id.is_some()),
    ("--opt-neg", "a", |a| a.opt_neg),
    ("--rx1-dr-offset", "a", |a| a.rx1_dr_offset.is_some()),
    ("--rx2-data-rate", "a", |a| a.rx2_data_rate.is_some()),
    ("--rx-delay", "a", |a| a.rx_delay.is_some()),
    ("--frequencies", "a", |a| !a.frequencies.is_empty()),
    ("--masks", "a", |a| !a.masks.is_empty()),
    ("--answers", "a", |a| a.answers.is_some()),
    ("--rejoin-type", "r", |a| a.rejoin_type.is_some()),
    ("--dev-addr", "aud", |a| a.dev_addr.is_some()),
    ("--fcnt", "ud", |a| a.fcnt.is_some()),
    ("--adr", "ud", |a| a.adr),
    ("--adr-ack-req", "u", |a| a.adr_ack_req),
    ("--ack", "ud", |a| a.ack),
    ("--class-b", "u", |a| a.class_b),
    ("--f-pending", "d", |a| a.f_pending),
    ("--command", "ud", |a| !a.commands.is_empty()),
    ("--fopts", "ud", |a| a.fopts.is_some()),
    ("--port", "ud", |a| a.port.is_some()),
    ("--payload", "udp", |a| a.payload.is_some()),
    ("--conf-fcnt", "ud", |a| a.conf_fcnt.is_some()),
    ("--tx-dr", "u", |a| a.tx_dr.is_some()),
    ("--tx-ch", "u", |a| a.tx_ch.is_some()),
    ("--fopts-as-published", "ud", |a| a.fopts_as_published),
];

/// Returns the first option of a field that was given.
pub(super) fn given(args: &ComposeArgs) -> Option<&'static str> {
    FIELDS.iter().find(|(_, _, given)| given(args)).map(|(option, ..)| *option)
}

const fn letter(ftype: FType) -> char {
    match ftype {
        FType::JoinRequest => 'j',
        FType::JoinAccept => 'a',
        FType::RejoinRequest => 'r',
        FType::UnconfirmedDataUp | FType::ConfirmedDataUp => 'u',
        FType::UnconfirmedDataDown | FType::ConfirmedDataDown => 'd',
        FType::Proprietary => 'p',
    }
}

/// Returns the recipe that the options make.
pub(super) fn recipe(
    args: &ComposeArgs,
    ftype: FType,
    keys: &Bunch,
) -> Result<Recipe, CannotCompose> {
    let message = ftype.name();
    let strays = FIELDS.iter().filter(|(_, places, _)| !places.contains(letter(ftype)));
    if let Some((option, ..)) = strays.into_iter().find(|(_, _, given)| given(args)) {
        return Err(CannotCompose::NoPlace { message, option });
    }
    let mhdr = match &args.mhdr {
        None => Mhdr::new(ftype),
        Some(OctetsArg(octets)) => match octets.as_slice() {
            [octet] if Mhdr(*octet).ftype() == ftype => Mhdr(*octet),
            [octet] => {
                let found = Mhdr(*octet).ftype().name();
                return Err(CannotCompose::OtherType { message, found });
            }
            _ => return Err(CannotCompose::Length { option: "--mhdr", octets: 1 }),
        },
    };
    let signature = args.mic()?.map_or(Signature::Computed, Signature::Given);
    let fields = Fields { args, message, mhdr, signature };
    match ftype {
        FType::JoinRequest => fields.join_request(),
        FType::JoinAccept => fields.join_accept(),
        FType::RejoinRequest => fields.rejoin_request(),
        FType::Proprietary => {
            let payload = args.payload.clone().unwrap_or_default().0;
            Ok(Recipe::Proprietary(Proprietary { mhdr, payload }))
        }
        _ => fields.data(keys),
    }
}

struct Fields<'a> {
    args: &'a ComposeArgs,
    message: &'static str,
    mhdr: Mhdr,
    signature: Signature,
}

impl Fields<'_> {
    fn need<T: Copy>(&self, value: Option<T>, option: &'static str) -> Result<T, CannotCompose> {
        value.ok_or(CannotCompose::Needs { message: self.message, option })
    }

    /// Returns the root key that signs by the version given.
    fn root(&self) -> Option<KeyRole> {
        self.args.mac_version.map(|version| match version {
            MacVersion::V1_1 => KeyRole::Nwk,
            _ => KeyRole::App,
        })
    }

    fn join_request(self) -> Result<Recipe, CannotCompose> {
        let request = JoinRequest {
            mhdr: self.mhdr,
            ..JoinRequest::new(
                self.need(self.args.join_eui, "--join-eui")?,
                self.need(self.args.dev_eui, "--dev-eui")?,
                self.need(self.args.dev_nonce, "--dev-nonce")?,
            )
        };
        let signer = self.root();
        let signature = self.signature;
        Ok(Recipe::JoinRequest(JoinRequestRecipe { request, signature, signer }))
    }

    fn rejoin_request(self) -> Result<Recipe, CannotCompose> {
        let args = self.args;
        let kind = self.need(args.rejoin_type, "--rejoin-type")?;
        let dev_eui = self.need(args.dev_eui, "--dev-eui")?;
        let count = self.need(args.dev_nonce, "--dev-nonce (RJcount)")?;
        let body = if kind == 1 {
            let join_eui = self.need(args.join_eui, "--join-eui")?;
            RejoinBody::JoinServer { join_eui, dev_eui, count }
        } else {
            let net_id = self.need(args.net_id, "--net-id")?;
            RejoinBody::Network { keys_only: kind == 2, net_id, dev_eui, count }
        };
        let request =
            RejoinRequest { mhdr: self.mhdr, body, surplus: Vec::new(), mic: Mic::default() };
        Ok(Recipe::RejoinRequest(request, self.signature))
    }

    fn join_accept(self) -> Result<Recipe, CannotCompose> {
        let args = self.args;
        let settings = u8::from(args.opt_neg) << 7
            | args.rx1_dr_offset.unwrap_or_default() << 4
            | args.rx2_data_rate.unwrap_or_default();
        let accept = JoinAccept {
            mhdr: self.mhdr,
            join_nonce: self.need(args.join_nonce, "--join-nonce")?,
            net_id: self.need(args.net_id, "--net-id")?,
            dev_addr: self.need(args.dev_addr, "--dev-addr")?,
            dl_settings: DlSettings(settings),
            rx_delay: RxDelay(args.rx_delay.unwrap_or(1)),
            cf_list: self.cf_list()?,
            mic: Mic::default(),
        };
        let root = self.root();
        Ok(Recipe::JoinAccept(AcceptRecipe {
            signature: self.signature,
            answers: args.answers.unwrap_or(JoinReqType::Join),
            bound: Bound {
                join_eui: args.join_eui,
                dev_eui: args.dev_eui,
                dev_nonce: args.dev_nonce,
            },
            root,
            ..AcceptRecipe::new(accept)
        }))
    }

    fn cf_list(&self) -> Result<Option<CfList>, CannotCompose> {
        let (hz, masks) = (&self.args.frequencies, &self.args.masks);
        match (hz.as_slice(), masks.as_slice()) {
            ([], []) => Ok(None),
            ([], masks) if masks.len() <= 7 => Ok(Some(CfList::of_masks(masks))),
            ([], _) => Err(CannotCompose::TooMany { option: "--masks", most: 7 }),
            (hz, []) if hz.len() > 5 => {
                Err(CannotCompose::TooMany { option: "--frequencies", most: 5 })
            }
            (hz, []) => {
                match hz.iter().find(|hz| !hz.is_multiple_of(100) || *hz / 100 >= 1 << 24) {
                    Some(&hz) => Err(CannotCompose::Frequency { hz }),
                    None => Ok(Some(CfList::of_frequencies(hz))),
                }
            }
            (_, _) => Err(CannotCompose::Both { one: "--frequencies", other: "--masks" }),
        }
    }

    fn data(self, keys: &Bunch) -> Result<Recipe, CannotCompose> {
        let args = self.args;
        let dev_addr = self.need(args.dev_addr, "--dev-addr")?;
        let fcnt = self.need(args.fcnt, "--fcnt")?;
        let mut recipe = DataRecipe::new(self.mhdr.ftype(), dev_addr, fcnt);
        recipe.mhdr = self.mhdr;
        let bit = |set: bool, bit: u8| if set { bit } else { 0 };
        recipe.fctrl = FCtrl::new(
            bit(args.adr, 0x80)
                | bit(args.adr_ack_req, 0x40)
                | bit(args.ack, 0x20)
                | bit(args.class_b || args.f_pending, 0x10),
        );
        let commands = self.commands()?;
        let mut fopts = args.fopts.clone().unwrap_or_default().0;
        let mut payload = args.payload.clone().map(|octets| octets.0);
        if args.port == Some(0) && !commands.is_empty() {
            if payload.is_some() {
                return Err(CannotCompose::Both { one: "--command", other: "--payload" });
            }
            payload = Some(commands);
        } else {
            fopts.extend(commands);
        }
        if args.port.is_none() && payload.is_some() {
            return Err(CannotCompose::Needs { message: "--payload", option: "--port" });
        }
        recipe.fopts = DataOctets::Plain(fopts);
        recipe.payload =
            args.port.map(|port| (port, DataOctets::Plain(payload.unwrap_or_default())));
        recipe.scheme = match args.mac_version {
            Some(MacVersion::V1_1) if keys.scheme() != Some(Scheme::Multicast) => {
                Some(Scheme::V1_1)
            }
            // A 1.1 node on a 1.0.x server signs with FNwkSIntKey.
            Some(_) if keys.nwk_s_key.is_none() && keys.f_nwk_s_int_key.is_some() => {
                Some(Scheme::V1_1OnV1_0)
            }
            _ => None,
        };
        recipe.context.conf_fcnt = args.conf_fcnt.unwrap_or_default();
        recipe.context.tx_dr = args.tx_dr.unwrap_or_default();
        recipe.context.tx_ch = args.tx_ch.unwrap_or_default();
        recipe.fopts_as_published = args.fopts_as_published;
        recipe.signature = self.signature;
        Ok(Recipe::Data(recipe))
    }

    fn commands(&self) -> Result<Vec<u8>, CannotCompose> {
        let mut octets = Vec::new();
        for text in &self.args.commands {
            let command = command::from_text(text, self.args.mac_version)?;
            let way = command.row.direction;
            if self.mhdr.ftype().direction() != Some(way) {
                return Err(CannotCompose::OtherWay {
                    command: command.row.name,
                    way: way.name(),
                    message: self.message,
                });
            }
            octets.extend(command.octets);
        }
        Ok(octets)
    }
}
