//! A node: what is built into it, how it asks, what it takes, and what it sends then.

use super::{
    air::{Channel, added_channels, default_channels, join_channels, numbered, uplink_channels},
    derivation,
    dice::Dice,
};
use crate::{
    crypto::{
        EncryptionKeys,
        block::{BlockFields, FOptsRule, FOptsText, UplinkContext},
        cipher::{self, AcceptKey},
        derive::{self, SessionKeys},
        mic::{self, JoinReqType},
    },
    frame::{
        CfListType, DataFrame, Direction, FCtrl, FOpts, FType, Frame, JoinAccept, JoinRequest,
        MacVersion, Payload, SealedJoinAccept,
    },
    id::{DevAddr, DevEui, DevNonce, JoinEui},
    key::{Aes128Key, AppKey, NwkKey},
    region::{ChannelMask, Plan, PlanKind},
};

/// A node.
#[derive(Clone, Debug)]
pub(super) struct Node {
    pub(super) dev_eui: DevEui,
    pub(super) join_eui: JoinEui,
    pub(super) app_key: Aes128Key,
    /// The network root key of a 1.1 node.
    pub(super) nwk_key: Aes128Key,
    pub(super) version: MacVersion,
    pub(super) plan: &'static Plan,
    pub(super) asks_on: Vec<Channel>,
    pub(super) nonces: Nonces,
    pub(super) last_join_nonce: Option<u32>,
    /// Whether it drops an accept that passes the dwell limit, as its network would.
    pub(super) keeps_dwell: bool,
    /// The mistake in its derivation, if it makes one.
    pub(super) misreads: Option<u32>,
    pub(super) ignores_fallback: bool,
    pub(super) fopts_text: FOptsText,
    pub(super) session: Option<Session>,
    /// RJcount0 of the next Rejoin-Request.
    pub(super) rejoins: u16,
}

/// Where DevNonces come from.
#[derive(Clone, Debug)]
pub(super) enum Nonces {
    /// The next one.
    Counting(u16),
    /// Drawn, by luck never the same twice; those drawn before.
    Random(Vec<u16>),
    /// The same ones again after every reset.
    Again(Vec<u16>),
}

/// A session, as one side has it.
#[derive(Clone, Debug)]
pub(super) struct Session {
    pub(super) dev_addr: DevAddr,
    pub(super) keys: SessionKeys,
    pub(super) accept: Option<JoinAccept>,
    pub(super) channels: Vec<Channel>,
    pub(super) fcnt_up: u32,
    pub(super) fcnt_down: u32,
    /// AFCntDown of 1.1.
    pub(super) app_down: u32,
    pub(super) sent: u32,
}

impl Session {
    pub(super) const fn new(dev_addr: DevAddr, keys: SessionKeys) -> Self {
        Self {
            dev_addr,
            keys,
            accept: None,
            channels: Vec::new(),
            fcnt_up: 0,
            fcnt_down: 0,
            app_down: 0,
            sent: 0,
        }
    }
}

/// A data frame to be made.
#[derive(Clone, Debug)]
pub(super) struct Message {
    pub(super) ftype: FType,
    pub(super) fctrl: FCtrl,
    /// In clear.
    pub(super) fopts: Vec<u8>,
    pub(super) port: Option<u8>,
    /// In clear.
    pub(super) payload: Vec<u8>,
    /// The low half of the counter of the frame that it acknowledges, in 1.1.
    pub(super) conf_fcnt: u16,
}

impl Node {
    /// Returns the key that signs requests.
    pub(super) fn signs_with(&self) -> &Aes128Key {
        if self.version == MacVersion::V1_1 { &self.nwk_key } else { &self.app_key }
    }

    pub(super) fn nonce(&mut self, dice: &mut Dice) -> DevNonce {
        DevNonce(match &mut self.nonces {
            Nonces::Counting(next) => {
                *next = next.wrapping_add(1);
                next.wrapping_sub(1)
            }
            Nonces::Random(drawn) => {
                let draw = |_| u16::try_from(dice.below(0x1_0000)).unwrap_or_default();
                let new = (0..8).map(draw).find(|nonce| !drawn.contains(nonce)).unwrap_or_default();
                drawn.push(new);
                new
            }
            Nonces::Again(list) if list.is_empty() => 0,
            Nonces::Again(list) => list.remove(0),
        })
    }

    /// Returns a signed Join-Request.
    pub(super) fn request(&mut self, dice: &mut Dice) -> JoinRequest {
        let mut request = JoinRequest::new(self.join_eui, self.dev_eui, self.nonce(dice));
        request.mic = mic::join_request(&NwkKey::from(self.signs_with().clone()), &request);
        request
    }

    /// Opens an accept, checks it, and begins the session that it gives.
    pub(super) fn join(&mut self, nonce: DevNonce, octets: &[u8], sub_band: Option<u8>) -> bool {
        let Some(accept) = self.open(nonce, octets) else { return false };
        if !self.may_take(&accept) {
            return false;
        }
        self.last_join_nonce = Some(accept.join_nonce.get());
        let keys = self.derive(&accept, nonce);
        let mut session = Session::new(accept.dev_addr, keys);
        session.channels = self.channels_after(&accept, sub_band);
        session.accept = Some(accept);
        self.session = Some(session);
        true
    }

    fn open(&self, nonce: DevNonce, octets: &[u8]) -> Option<JoinAccept> {
        let root = NwkKey::from(self.signs_with().clone());
        let Some(Frame::JoinAccept(sealed)) = crate::frame::decode(octets).frame else {
            return None;
        };
        let accept = cipher::open_join_accept(AcceptKey::join(&root), &sealed)?.accept;
        let by_1_1 = self.version == MacVersion::V1_1 && accept.dl_settings.opt_neg();
        let check = if by_1_1 {
            let key = derive::js_int_key(&root, self.dev_eui);
            mic::check_join_accept_1_1(&key, JoinReqType::Join, self.join_eui, nonce, &accept)
        } else {
            mic::check_join_accept_1_0(&root, &accept)
        };
        check.ok().map(|()| accept)
    }

    fn may_take(&self, accept: &JoinAccept) -> bool {
        let settings = accept.dl_settings;
        let fresh = !self.version.counts_dev_nonces()
            || self.last_join_nonce.is_none_or(|last| accept.join_nonce.get() > last);
        let listed = accept.cf_list.is_none_or(|list| match list.kind() {
            CfListType::Frequencies => self.plan.accepts_cflist_type(0),
            CfListType::Masks => self.plan.accepts_cflist_type(1),
            CfListType::Rfu(_) => false,
        });
        fresh
            && listed
            && settings.rx1_dr_offset() <= self.plan.rx1_offset_max
            && self.plan.dr(Direction::Downlink, settings.rx2_data_rate()).is_some()
    }

    fn derive(&self, accept: &JoinAccept, nonce: DevNonce) -> SessionKeys {
        let root = NwkKey::from(self.signs_with().clone());
        let app = AppKey::from(self.app_key.clone());
        let by_1_1 = self.version == MacVersion::V1_1
            && (accept.dl_settings.opt_neg() || self.ignores_fallback);
        if let Some(which) = self.misreads {
            return derivation::misread(which, by_1_1, &root, &app, accept, self.join_eui, nonce);
        }
        if by_1_1 {
            derive::session_1_1(&root, Some(&app), accept.join_nonce, self.join_eui, nonce)
        } else {
            derive::session_1_0(&root, accept.join_nonce, accept.net_id, nonce)
        }
    }

    pub(super) fn channels_after(&self, accept: &JoinAccept, sub_band: Option<u8>) -> Vec<Channel> {
        if self.plan.kind == PlanKind::Dynamic {
            let mut all = default_channels(self.plan, sub_band);
            let list = accept.cf_list.filter(|l| l.kind() == CfListType::Frequencies);
            all.extend(list.into_iter().flat_map(|list| added_channels(self.plan, list)));
            return all;
        }
        let masks = accept.cf_list.filter(|list| list.kind() == CfListType::Masks);
        if let Some(list) = masks {
            let words: Vec<u16> = list.masks().take(self.plan.mask_words()).collect();
            let numbers: Vec<u16> = ChannelMask::from_words(&words).channels().collect();
            return numbered(self.plan, &numbers);
        }
        if join_channels(self.plan, sub_band).len() < self.asks_on.len() {
            return uplink_channels(self.plan, None);
        }
        uplink_channels(self.plan, sub_band)
    }

    /// Returns the next uplink of the session, encrypted and signed.
    pub(super) fn uplink(
        &mut self,
        message: &Message,
        channel: Channel,
        tx_dr: u8,
    ) -> Option<DataFrame> {
        let session = self.session.as_mut()?;
        session.fcnt_up = session.fcnt_up.wrapping_add(1);
        session.sent += 1;
        self.again(message, channel, tx_dr)
    }

    /// Returns the last uplink once more, for another channel.
    pub(super) fn again(
        &self,
        message: &Message,
        channel: Channel,
        tx_dr: u8,
    ) -> Option<DataFrame> {
        let session = self.session.as_ref()?;
        let tx_ch = u8::try_from(channel.number).unwrap_or_default();
        let context = UplinkContext { conf_fcnt: message.conf_fcnt, tx_dr, tx_ch };
        let address = (session.dev_addr, session.fcnt_up.wrapping_sub(1));
        Some(data_frame(&session.keys, address, message, self.fopts_text, context))
    }
}

/// Returns a data frame, encrypted and signed under the keys of a session.
pub(super) fn data_frame(
    keys: &SessionKeys,
    (dev_addr, fcnt): (DevAddr, u32),
    message: &Message,
    fopts_text: FOptsText,
    context: UplinkContext,
) -> DataFrame {
    let [lo, hi, ..] = fcnt.to_le_bytes();
    let mut frame = DataFrame::new(message.ftype, dev_addr, u16::from_le_bytes([lo, hi]));
    frame.fctrl = message.fctrl;
    let place = BlockFields { direction: frame.direction(), dev_addr, fcnt };
    let fopts = match keys {
        SessionKeys::V1_1 { nwk_s_enc_key, .. } if !message.fopts.is_empty() => {
            let rule = FOptsRule::of(fopts_text, frame.direction(), message.port);
            cipher::encrypt_fopts(nwk_s_enc_key, &place, rule, &message.fopts)
        }
        _ => message.fopts.clone(),
    };
    frame.fopts = FOpts::new(fopts).unwrap_or_default();
    frame.payload = message.port.map(|port| {
        let key = EncryptionKeys::from(keys).payload_key(keys.scheme().payload_role(port));
        let clear = &message.payload;
        let frm = key.map_or_else(|| clear.clone(), |k| cipher::encrypt_payload(k, &place, clear));
        Payload { port, frm }
    });
    frame.mic = match (keys, frame.direction()) {
        (SessionKeys::V1_0 { nwk_s_key, .. }, _) => mic::data_1_0(nwk_s_key, &frame, fcnt),
        (SessionKeys::V1_1 { s_nwk_s_int_key, .. }, Direction::Downlink) => {
            mic::data_down_1_1(s_nwk_s_int_key, &frame, fcnt, context.conf_fcnt)
        }
        (SessionKeys::V1_1 { s_nwk_s_int_key, f_nwk_s_int_key, .. }, Direction::Uplink) => {
            mic::data_up_1_1(s_nwk_s_int_key, f_nwk_s_int_key, &frame, fcnt, &context)
        }
    };
    frame
}

/// Returns an accept, signed and sealed under a root key.
pub(super) fn seal(
    root: &Aes128Key,
    by_1_1: bool,
    request: &JoinRequest,
    accept: &mut JoinAccept,
) -> SealedJoinAccept {
    let root = NwkKey::from(root.clone());
    accept.mic = if by_1_1 {
        let key = derive::js_int_key(&root, request.dev_eui);
        let (eui, nonce) = (request.join_eui, request.dev_nonce);
        mic::join_accept_1_1(&key, JoinReqType::Join, eui, nonce, accept)
    } else {
        mic::join_accept_1_0(&root, accept)
    };
    cipher::seal_join_accept(AcceptKey::join(&root), accept)
}
