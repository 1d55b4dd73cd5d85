//! `read --json`: one object a frame.

use std::fmt;

use serde::Serialize;

use super::{SCHEMA, line};
use crate::{
    crypto::{block::FOptsRule, mic::JoinReqType},
    frame::{CfList, CfListType, Direction, DlSettings, Field, Frame, Located},
    id::{DevAddr, Eui64, NetId},
    reading::{Commands, MicVerdict, Problem, Reading, Searched, Tried, Unchecked},
    show::Input,
};

/// ChMask words that are printed: as many as the widest plan uses.
const MASKS: usize = 6;

/// Writes a frame and what keys tell of it.
///
/// # Errors
/// When the writer fails.
pub fn reading(out: &mut dyn fmt::Write, input: &Input<'_>, reading: &Reading) -> fmt::Result {
    line(out, &FrameJson::of(input, reading))
}

#[derive(Serialize)]
struct FrameJson<'a> {
    schema: u32,
    input: InputJson<'a>,
    phy_payload: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    message: Option<&'static str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    direction: Option<&'static str>,
    fields: FieldsJson,
    mic: MicJson<'a>,
    #[serde(skip_serializing_if = "Option::is_none")]
    decrypted_with: Option<&'static str>,
    #[serde(skip_serializing_if = "PlaintextJson::is_empty")]
    plaintext: PlaintextJson,
    #[serde(skip_serializing_if = "Option::is_none")]
    fcnt32: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    context: Option<ContextJson>,
    #[serde(skip_serializing_if = "Option::is_none")]
    searched: Option<SearchedJson>,
    #[serde(skip_serializing_if = "Option::is_none")]
    mac_commands: Option<serde_json::Value>,
    problems: Vec<ProblemJson>,
}

#[derive(Serialize)]
struct InputJson<'a> {
    name: &'a str,
    index: usize,
}

/// All members of `fields`, in the order in which any message sends them.
#[derive(Default, Serialize)]
#[serde(rename_all = "PascalCase")]
struct FieldsJson {
    #[serde(rename = "MHDR", skip_serializing_if = "Option::is_none")]
    mhdr: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    rejoin_type: Option<u8>,
    #[serde(skip_serializing_if = "Option::is_none")]
    join_nonce: Option<u64>,
    #[serde(rename = "NetID", skip_serializing_if = "Option::is_none")]
    net_id: Option<String>,
    #[serde(rename = "JoinEUI", skip_serializing_if = "Option::is_none")]
    join_eui: Option<String>,
    #[serde(rename = "DevEUI", skip_serializing_if = "Option::is_none")]
    dev_eui: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    dev_nonce: Option<u64>,
    #[serde(rename = "RJcount0", skip_serializing_if = "Option::is_none")]
    rj_count_0: Option<u64>,
    #[serde(rename = "RJcount1", skip_serializing_if = "Option::is_none")]
    rj_count_1: Option<u64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    dev_addr: Option<String>,
    #[serde(rename = "DLSettings", skip_serializing_if = "Option::is_none")]
    dl_settings: Option<DlSettingsJson>,
    #[serde(skip_serializing_if = "Option::is_none")]
    rx_delay: Option<u8>,
    #[serde(rename = "CFList", skip_serializing_if = "Option::is_none")]
    cf_list: Option<CfListJson>,
    #[serde(rename = "FCtrl", skip_serializing_if = "Option::is_none")]
    fctrl: Option<FCtrlJson>,
    #[serde(rename = "FCnt", skip_serializing_if = "Option::is_none")]
    fcnt: Option<u64>,
    #[serde(rename = "FOpts", skip_serializing_if = "Option::is_none")]
    fopts: Option<String>,
    #[serde(rename = "FPort", skip_serializing_if = "Option::is_none")]
    fport: Option<u8>,
    #[serde(rename = "FRMPayload", skip_serializing_if = "Option::is_none")]
    frm_payload: Option<String>,
    #[serde(rename = "MIC", skip_serializing_if = "Option::is_none")]
    mic: Option<String>,
}

#[derive(Serialize)]
struct DlSettingsJson {
    #[serde(rename = "OptNeg")]
    opt_neg: bool,
    #[serde(rename = "RX1DROffset")]
    rx1_dr_offset: u8,
    #[serde(rename = "RX2DataRate")]
    rx2_data_rate: u8,
}

#[derive(Serialize)]
struct CfListJson {
    r#type: u8,
    #[serde(skip_serializing_if = "Option::is_none")]
    frequencies: Option<Vec<u32>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    masks: Option<Vec<String>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    octets: Option<String>,
}

#[derive(Serialize)]
struct FCtrlJson {
    #[serde(rename = "ADR")]
    adr: bool,
    #[serde(rename = "ADRACKReq", skip_serializing_if = "Option::is_none")]
    adr_ack_req: Option<bool>,
    #[serde(rename = "ACK")]
    ack: bool,
    #[serde(rename = "FPending", skip_serializing_if = "Option::is_none")]
    f_pending: Option<bool>,
    #[serde(rename = "ClassB", skip_serializing_if = "Option::is_none")]
    class_b: Option<bool>,
    #[serde(rename = "FOptsLen")]
    fopts_len: u8,
}

#[derive(Default, Serialize)]
struct MicJson<'a> {
    state: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    key: Option<&'static str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    node: Option<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    claim: Option<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    rule: Option<&'static str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    expected: Option<String>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    tried: Vec<TriedJson<'a>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    why: Option<String>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    missing: Vec<&'static str>,
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    forwarding_half: bool,
}

#[derive(Serialize)]
struct TriedJson<'a> {
    key: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    node: Option<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    claim: Option<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    rule: Option<&'static str>,
    received: String,
    expected: String,
}

#[derive(Default, Serialize)]
struct PlaintextJson {
    #[serde(rename = "FRMPayload", skip_serializing_if = "Option::is_none")]
    frm_payload: Option<String>,
    #[serde(rename = "FOpts", skip_serializing_if = "Option::is_none")]
    fopts: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    fopts_rule: Option<&'static str>,
}

#[derive(Default, Serialize)]
struct ContextJson {
    #[serde(skip_serializing_if = "Option::is_none")]
    conf_fcnt: Option<u16>,
    #[serde(skip_serializing_if = "Option::is_none")]
    tx_dr: Option<u8>,
    #[serde(skip_serializing_if = "Option::is_none")]
    tx_ch: Option<u8>,
    #[serde(skip_serializing_if = "Option::is_none")]
    join_req_type: Option<String>,
}

/// What was found by trying and not given.
#[derive(Default, Serialize)]
struct SearchedJson {
    #[serde(skip_serializing_if = "Option::is_none")]
    fcnt_upper_half: Option<u16>,
    #[serde(skip_serializing_if = "Option::is_none")]
    uplink_contexts_tried: Option<usize>,
    #[serde(skip_serializing_if = "Option::is_none")]
    uplink_contexts_fit: Option<usize>,
}

#[derive(Serialize)]
struct ProblemJson {
    offset: usize,
    field: &'static str,
    what: String,
}

impl<'a> FrameJson<'a> {
    fn of(input: &Input<'a>, reading: &'a Reading) -> Self {
        let (decoded, found) = (&reading.decoded, &reading.found);
        let mut fields = FieldsJson::default();
        fields.take(&decoded.octets, &decoded.fields);
        if let Some(opened) = &found.accept {
            fields.take(&opened.accept.octets, &opened.accept.fields);
        }
        if let Some(Frame::Data(data)) = &decoded.frame {
            // Lawfully empty fields leave no octets, and JSON shows that they are empty.
            fields.fopts.get_or_insert_default();
            if data.payload.is_some() {
                fields.frm_payload.get_or_insert_default();
            }
        }
        Self {
            schema: SCHEMA,
            input: InputJson { name: input.name, index: input.index },
            phy_payload: hex::encode(&decoded.octets),
            message: decoded.mhdr().map(|mhdr| mhdr.ftype().name()),
            direction: reading.direction.map(Direction::name),
            fields,
            mic: MicJson::of(&found.mic),
            decrypted_with: found.accept.as_ref().map(|opened| opened.key),
            plaintext: PlaintextJson::of(reading),
            fcnt32: found.fcnt32,
            context: ContextJson::of(reading),
            searched: SearchedJson::of(&found.searched),
            mac_commands: found.commands.as_ref().map(Commands::to_json),
            problems: reading.problems.iter().map(ProblemJson::of).collect(),
        }
    }
}

fn number(octets: &[u8]) -> u64 {
    octets.iter().rev().fold(0, |sum, octet| sum << 8 | u64::from(*octet))
}

fn eui(octets: &[u8]) -> Option<String> {
    octets.try_into().ok().map(|octets| Eui64::from_wire(octets).hex())
}

impl FieldsJson {
    /// Takes over every field that was read, so that a frame cut short has those before the damage.
    fn take(&mut self, octets: &[u8], fields: &[Located<Field>]) {
        let uplink = octets.first().is_some_and(|&mhdr| {
            crate::frame::Mhdr(mhdr).ftype().direction() == Some(Direction::Uplink)
        });
        for field in fields {
            let Some(of) = octets.get(field.at.clone()) else { continue };
            let first = of.first().copied();
            match field.value {
                Field::Mhdr => self.mhdr = Some(hex::encode(of)),
                Field::JoinEui => self.join_eui = eui(of),
                Field::DevEui => self.dev_eui = eui(of),
                Field::DevNonce => self.dev_nonce = Some(number(of)),
                Field::JoinNonce => self.join_nonce = Some(number(of)),
                Field::NetId => {
                    self.net_id = of.try_into().ok().map(|o| NetId::from_wire(o).hex());
                }
                Field::DevAddr => {
                    self.dev_addr = of.try_into().ok().map(|o| DevAddr::from_wire(o).hex());
                }
                Field::DlSettings => {
                    self.dl_settings = first.map(|o| DlSettingsJson::of(DlSettings(o)));
                }
                Field::RxDelay => self.rx_delay = first,
                Field::CfList => {
                    self.cf_list = of.try_into().ok().map(|o| CfListJson::of(CfList(o)));
                }
                Field::RejoinType => self.rejoin_type = first,
                Field::RjCount0 => self.rj_count_0 = Some(number(of)),
                Field::RjCount1 => self.rj_count_1 = Some(number(of)),
                Field::FCtrl => self.fctrl = first.map(|octet| FCtrlJson::of(octet, uplink)),
                Field::FCnt => self.fcnt = Some(number(of)),
                Field::FOpts => self.fopts = Some(hex::encode(of)),
                Field::FPort => self.fport = first,
                Field::FrmPayload => self.frm_payload = Some(hex::encode(of)),
                Field::Mic => self.mic = Some(hex::encode(of)),
                // In the contract these stand in `phy_payload` alone.
                Field::Sealed | Field::Surplus | Field::Proprietary => {}
            }
        }
    }
}

impl DlSettingsJson {
    const fn of(settings: DlSettings) -> Self {
        Self {
            opt_neg: settings.opt_neg(),
            rx1_dr_offset: settings.rx1_dr_offset(),
            rx2_data_rate: settings.rx2_data_rate(),
        }
    }
}

impl CfListJson {
    fn of(list: CfList) -> Self {
        let mut out = Self { r#type: 0, frequencies: None, masks: None, octets: None };
        match list.kind() {
            CfListType::Frequencies => out.frequencies = Some(list.frequencies().collect()),
            CfListType::Masks => {
                out.r#type = 1;
                let masks = list.masks().take(MASKS);
                out.masks = Some(masks.map(|mask| format!("{mask:04x}")).collect());
            }
            CfListType::Rfu(kind) => {
                out.r#type = kind;
                out.octets = Some(hex::encode(list.0));
            }
        }
        out
    }
}

impl FCtrlJson {
    fn of(octet: u8, uplink: bool) -> Self {
        let flags = crate::frame::FCtrl::new(octet);
        Self {
            adr: flags.adr(),
            adr_ack_req: uplink.then(|| flags.adr_ack_req()),
            ack: flags.ack(),
            f_pending: (!uplink).then(|| flags.f_pending()),
            class_b: uplink.then(|| flags.f_pending()),
            fopts_len: octet & 0x0F,
        }
    }
}

impl<'a> MicJson<'a> {
    fn of(verdict: &'a MicVerdict) -> Self {
        match verdict {
            MicVerdict::Holds(proof) => Self {
                state: "holds",
                key: Some(proof.key),
                node: proof.source.node.as_deref(),
                claim: proof.source.claim.as_deref(),
                rule: proof.rule.map(crate::reading::MicRule::name),
                ..Self::default()
            },
            MicVerdict::Fails(tried) => {
                let first = tried.first();
                Self {
                    state: "fails",
                    key: first.map(|t| t.key),
                    node: first.and_then(|t| t.source.node.as_deref()),
                    claim: first.and_then(|t| t.source.claim.as_deref()),
                    rule: first.and_then(|t| t.rule).map(crate::reading::MicRule::name),
                    expected: first.map(|t| t.expected.hex()),
                    tried: tried.iter().map(TriedJson::of).collect(),
                    forwarding_half: first.is_some_and(|t| t.forwarding_half),
                    ..Self::default()
                }
            }
            MicVerdict::Unchecked(why) => {
                let mut out =
                    Self { state: "unchecked", why: Some(why.to_string()), ..Self::default() };
                if let Unchecked::NoValue { missing, forwarding_half, .. } = why {
                    out.missing.clone_from(missing);
                    out.forwarding_half = *forwarding_half;
                }
                out
            }
        }
    }
}

impl<'a> TriedJson<'a> {
    fn of(tried: &'a Tried) -> Self {
        Self {
            key: tried.key,
            node: tried.source.node.as_deref(),
            claim: tried.source.claim.as_deref(),
            rule: tried.rule.map(crate::reading::MicRule::name),
            received: tried.received.hex(),
            expected: tried.expected.hex(),
        }
    }
}

impl PlaintextJson {
    fn of(reading: &Reading) -> Self {
        let fopts = reading.found.fopts.as_ref();
        Self {
            frm_payload: reading.found.payload.as_ref().map(|plain| hex::encode(&plain.octets)),
            fopts: fopts.map(|fopts| hex::encode(&fopts.octets)),
            fopts_rule: fopts.and_then(|fopts| fopts.rule).map(|rule| match rule {
                FOptsRule::AsPublished => "as-published",
                FOptsRule::Erratum | FOptsRule::ErratumAppCounter => "erratum",
            }),
        }
    }

    const fn is_empty(&self) -> bool {
        self.frm_payload.is_none() && self.fopts.is_none()
    }
}

impl ContextJson {
    fn of(reading: &Reading) -> Option<Self> {
        let found = &reading.found;
        if let Some(uplink) = found.uplink_context {
            return Some(Self {
                conf_fcnt: Some(uplink.conf_fcnt),
                tx_dr: Some(uplink.tx_dr),
                tx_ch: Some(uplink.tx_ch),
                join_req_type: None,
            });
        }
        let answers = found.accept.as_ref().and_then(|opened| opened.answers);
        let join_req_type = answers.map(|kind: JoinReqType| format!("{:02x}", kind.octet()));
        let known = found.conf_fcnt.is_some() || join_req_type.is_some();
        known.then_some(Self { conf_fcnt: found.conf_fcnt, join_req_type, ..Self::default() })
    }
}

impl SearchedJson {
    fn of(searched: &[Searched]) -> Option<Self> {
        let mut out = Self::default();
        for search in searched {
            match *search {
                Searched::UpperHalf { found } => out.fcnt_upper_half = Some(found),
                Searched::UplinkContext { tried, fit, .. } => {
                    out.uplink_contexts_tried = Some(tried);
                    out.uplink_contexts_fit = Some(fit);
                }
            }
        }
        (!searched.is_empty()).then_some(out)
    }
}

impl ProblemJson {
    fn of(problem: &Problem) -> Self {
        Self { offset: problem.offset, field: problem.field.name(), what: problem.what.to_string() }
    }
}
