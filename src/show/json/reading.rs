//! `read --json`: one object a frame.

mod fields;

use std::fmt;

use serde::Serialize;

use fields::FieldsJson;

use super::{SCHEMA, line, line_worked};
use crate::{
    crypto::{block::FOptsRule, mic::JoinReqType},
    frame::{Direction, Frame, command::package},
    id::{DevEui, Eui64, JoinEui},
    intake::{Crc, Unit},
    ladder::CauseId,
    reading::{Bound, CommandList, MicVerdict, Problem, Reading, Searched, Tried, Unchecked, Why},
    show::{Input, Radio, Secrets},
    working::Sheet,
};

/// Writes a frame and what keys tell of it.
///
/// # Errors
/// When the writer fails.
pub fn reading(out: &mut dyn fmt::Write, input: &Input<'_>, reading: &Reading) -> fmt::Result {
    line(out, &FrameJson::of(input, reading))
}

/// As [`reading`], with the member `working`: every computation step by step.
///
/// # Errors
/// When the writer fails.
pub fn reading_worked(
    out: &mut dyn fmt::Write,
    input: &Input<'_>,
    reading: &Reading,
    sheets: &[Sheet],
) -> fmt::Result {
    line_worked(out, FrameJson::of(input, reading), sheets, Secrets::Shown)
}

#[derive(Serialize)]
struct FrameJson<'a> {
    schema: u32,
    input: InputJson<'a>,
    #[serde(skip_serializing_if = "Option::is_none")]
    radio: Option<RadioJson>,
    #[serde(rename = "PHYPayload")]
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
    commands: Option<serde_json::Value>,
    #[serde(skip_serializing_if = "Option::is_none")]
    payload: Option<serde_json::Value>,
    problems: Vec<ProblemJson>,
}

#[derive(Serialize)]
struct InputJson<'a> {
    name: &'a str,
    index: usize,
    #[serde(skip_serializing_if = "Option::is_none")]
    line: Option<u64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    packet: Option<u64>,
    /// Found in text that states no format.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    guessed: bool,
}

/// What the gateway says of the frame.
#[derive(Serialize)]
struct RadioJson {
    #[serde(skip_serializing_if = "Option::is_none")]
    gateway: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    time: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    frequency: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    data_rate: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    rssi: Option<f32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    snr: Option<f32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    power: Option<f32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    crc: Option<&'static str>,
}

impl RadioJson {
    fn of(radio: &Radio) -> Self {
        Self {
            gateway: radio.gateway.map(Eui64::hex),
            time: radio.time.map(|time| time.to_string()),
            frequency: radio.frequency_hz,
            data_rate: radio.data_rate.map(|rate| rate.to_string()),
            rssi: radio.rssi_dbm,
            snr: radio.snr_db,
            power: radio.power_dbm,
            crc: match radio.crc {
                Crc::Ok => Some("ok"),
                Crc::Bad => Some("bad"),
                Crc::None => Some("none"),
                Crc::Unknown => None,
            },
        }
    }
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
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    near_counters_only: bool,
    #[serde(skip_serializing_if = "Option::is_none")]
    found: Option<WhyJson<'a>>,
}

/// What an explorer found around keys that fail.
#[derive(Serialize)]
struct WhyJson<'a> {
    what: &'a str,
    #[serde(skip_serializing_if = "Option::is_none")]
    cause: Option<&'static str>,
    certainty: &'static str,
    false_match_probability: f64,
    tried: u64,
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
    #[serde(skip_serializing_if = "Option::is_none")]
    join_eui: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    dev_eui: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    dev_nonce: Option<u16>,
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
    /// Worth knowing, and no fault.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    remark: bool,
}

impl<'a> FrameJson<'a> {
    fn of(input: &Input<'a>, reading: &'a Reading) -> Self {
        let (decoded, found) = (&reading.decoded, &reading.found);
        Self {
            schema: SCHEMA,
            input: InputJson {
                name: input.name,
                index: input.index,
                line: input.line.filter(|_| input.unit == Unit::Line),
                packet: input.line.filter(|_| input.unit == Unit::Packet),
                guessed: input.radio.is_some_and(|radio| radio.guessed),
            },
            radio: input.radio.map(RadioJson::of),
            phy_payload: hex::encode(&decoded.octets),
            message: decoded.mhdr().map(|mhdr| mhdr.ftype().name()),
            direction: reading.direction.map(Direction::name),
            fields: FieldsJson::of(reading),
            mic: MicJson {
                found: reading.why.as_ref().map(WhyJson::of),
                ..MicJson::of(&found.mic)
            },
            decrypted_with: (found.accept.as_ref().map(|opened| opened.key))
                .or_else(|| found.payload.as_ref().map(|plain| plain.key)),
            plaintext: PlaintextJson::of(reading),
            fcnt32: found.fcnt32,
            context: ContextJson::of(reading),
            searched: SearchedJson::of(&found.searched),
            commands: found.commands.as_ref().map(|list| super::commands(&list.commands)),
            payload: payload(reading),
            problems: reading.problems.iter().map(ProblemJson::of).collect(),
        }
    }
}

/// What an application package makes of FRMPayload.
fn payload(reading: &Reading) -> Option<serde_json::Value> {
    let list = reading.found.package.as_ref()?;
    let Some(Frame::Data(frame)) = &reading.decoded.frame else { return None };
    let package = package::of_port(frame.port()?)?;
    Some(serde_json::json!({
        "package": package.name, "source": package.source,
        "commands": super::commands(&list.commands),
    }))
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
                    near_counters_only: first.is_some_and(|t| t.near_only),
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

impl<'a> WhyJson<'a> {
    fn of(why: &'a Why) -> Self {
        Self {
            what: &why.what,
            cause: why.cause.map(CauseId::name),
            certainty: why.certainty.name(),
            false_match_probability: why.odds,
            tried: why.tried,
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
        // A command that carries a key is not told by the back door.
        if reading.found.commands.as_ref().is_some_and(CommandList::holds_a_key) {
            return Self::default();
        }
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
                ..Self::default()
            });
        }
        let opened = found.accept.as_ref();
        let answers = opened.and_then(|opened| opened.answers);
        let join_req_type = answers.map(|kind: JoinReqType| format!("{:02x}", kind.octet()));
        let Bound { join_eui, dev_eui, dev_nonce } =
            opened.and_then(|opened| opened.bound).unwrap_or_default();
        let known = found.conf_fcnt.is_some() || join_req_type.is_some();
        known.then(|| Self {
            conf_fcnt: found.conf_fcnt,
            join_req_type,
            join_eui: join_eui.map(JoinEui::hex),
            dev_eui: dev_eui.map(DevEui::hex),
            dev_nonce: dev_nonce.map(|nonce| nonce.0),
            ..Self::default()
        })
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
        Self {
            offset: problem.offset,
            field: problem.field.name(),
            what: problem.what.to_string(),
            remark: problem.is_remark(),
        }
    }
}
