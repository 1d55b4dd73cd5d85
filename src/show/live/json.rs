//! One JSON object for each thing that the tap tells.

use std::fmt;

use serde::Serialize;

use crate::{
    intake::{TxError, Unit, What},
    live::{Board, Counters, Notice, PortWord, RecordingWord, Seen, Standing},
    show::{Input, Radio, json},
};

/// The number that a renamed or removed member would raise.
const SCHEMA: u32 = 1;

#[derive(Serialize)]
struct Told<'a, T: Serialize> {
    schema: u32,
    event: &'a str,
    #[serde(skip_serializing_if = "Option::is_none")]
    at: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    gateway: Option<String>,
    #[serde(flatten)]
    rest: T,
}

#[derive(Serialize)]
struct Address {
    address: String,
}

#[derive(Serialize)]
struct Figures {
    rxnb: Option<u64>,
    rxok: Option<u64>,
    rxfw: Option<u64>,
    ackr: Option<f32>,
    dwnb: Option<u64>,
    txnb: Option<u64>,
    temp: Option<f32>,
}

#[derive(Serialize)]
struct Word<'a> {
    error: &'a str,
    #[serde(skip_serializing_if = "Option::is_none")]
    warn: Option<&'a str>,
}

#[derive(Serialize)]
struct Server {
    answers: bool,
}

#[derive(Serialize)]
struct Recording<'a> {
    state: &'a str,
    words: String,
}

#[derive(Serialize)]
struct Bad {
    crc: &'static str,
    #[serde(rename = "PHYPayload")]
    phy_payload: String,
}

#[derive(Serialize)]
struct Stood<'a> {
    outcome: &'a str,
    #[serde(skip_serializing_if = "Option::is_none")]
    broken: Option<&'a str>,
    causes: Vec<&'static str>,
}

#[derive(Serialize)]
struct Changed<'a> {
    event: &'a str,
    at: String,
    before: Option<Stood<'a>>,
}

/// Writes what happened as one object on one line; nothing where it is not worth one.
///
/// # Errors
/// Whatever the writer says.
pub fn json(notice: &Notice<'_>, out: &mut dyn fmt::Write) -> fmt::Result {
    match notice {
        Notice::Frame(seen) => frame(seen, out),
        Notice::Gateway { at, gateway, peer } => {
            let rest = Address { address: peer.to_string() };
            told(out, "gateway", Some(*at), Some(*gateway), rest)
        }
        Notice::Said(event) => match &event.what {
            What::Status(stat) => {
                let rest = Figures {
                    rxnb: stat.rxnb,
                    rxok: stat.rxok,
                    rxfw: stat.rxfw,
                    ackr: stat.ackr,
                    dwnb: stat.dwnb,
                    txnb: stat.txnb,
                    temp: stat.temp,
                };
                told(out, "stat", event.time, event.gateway, rest)
            }
            What::Outcome(outcome) => {
                let warn = outcome.warn.as_ref().map(TxError::name);
                let word = Word { error: outcome.error.name(), warn };
                told(out, "tx-ack", event.time, event.gateway, word)
            }
            _ => Ok(()),
        },
        Notice::Ladder(change) => {
            let before = change.before.as_ref().map(|Standing { outcome, broken, causes }| Stood {
                outcome: outcome.name(),
                broken: broken.map(crate::ladder::Place::rung),
                causes: causes.iter().map(|id| id.name()).collect(),
            });
            let head = Changed { event: "ladder", at: change.at.to_string(), before };
            let mut diagnosis = String::new();
            json::diagnosis(&change.diagnosis, crate::show::Secrets::Hidden, &mut diagnosis)?;
            joined(&head, &diagnosis, out)
        }
        Notice::GatewayLadder(change) => {
            let before = change.before.as_ref().map(|before| Stood {
                outcome: before.outcome.name(),
                broken: None,
                causes: before.causes.iter().map(|id| id.name()).collect(),
            });
            let head = Changed { event: "gateway-ladder", at: change.at.to_string(), before };
            let mut diagnosis = String::new();
            json::gateway(&change.diagnosis, &mut diagnosis)?;
            joined(&head, &diagnosis, out)
        }
        Notice::Server { at, answers } => {
            told(out, "server", Some(*at), None, Server { answers: *answers })
        }
        Notice::Port { at, word } => {
            let state = match word {
                PortWord::Returned(_) => "returned",
                PortWord::Dropped(_) => "dropped",
            };
            let words = super::port(*word);
            told(out, "port", Some(*at), None, Recording { state, words })
        }
        Notice::Recording(word) => {
            let (state, words) = match word {
                RecordingWord::Rotated(aside) => ("rotated", aside.display().to_string()),
                RecordingWord::NotRotated(error) => ("not-rotated", error.to_string()),
                RecordingWord::Ended(error) => ("ended", error.to_string()),
                RecordingWord::Gone => ("gone", String::new()),
                RecordingWord::Behind => ("behind", String::new()),
            };
            told(out, "recording", None, None, Recording { state, words })
        }
        Notice::Datagram(_) | Notice::Idle => Ok(()),
    }
}

/// Writes the counts of a run as its last object.
///
/// # Errors
/// Whatever the writer says.
pub fn summary_json(board: &Board, counters: &Counters, out: &mut dyn fmt::Write) -> fmt::Result {
    let mut counts: serde_json::Map<String, serde_json::Value> =
        counters.all().into_iter().map(|(name, _, n)| (name.to_owned(), n.into())).collect();
    counts.insert("gateways".to_owned(), board.gateway_count().into());
    counts.insert("nodes".to_owned(), board.node_count().into());
    counts.insert("failed_mics".to_owned(), board.failed_mics.into());
    told(out, "summary", None, None, counts)
}

fn frame(seen: &Seen, out: &mut dyn fmt::Write) -> fmt::Result {
    #[derive(Serialize)]
    struct Head<'a> {
        event: &'a str,
    }
    let Seen { event, index, reading } = seen;
    let Some(reading) = reading else {
        let phy_payload = event.frame().map(|frame| hex::encode(&frame.octets));
        let bad = Bad { crc: "bad", phy_payload: phy_payload.unwrap_or_default() };
        return told(out, "frame", event.time, event.gateway, bad);
    };
    let radio = Radio::of(event).map(|radio| Radio { time: event.time, ..radio });
    let (index, line) = (*index, Some(event.place.number));
    let input = Input { name: "tap", index, line, unit: Unit::Packet, radio: radio.as_ref() };
    let mut text = String::new();
    json::reading(&mut text, &input, reading)?;
    joined(&Head { event: "frame" }, &text, out)
}

fn told(
    out: &mut dyn fmt::Write,
    event: &str,
    at: Option<jiff::Timestamp>,
    gateway: Option<crate::id::Eui64>,
    rest: impl Serialize,
) -> fmt::Result {
    let at = at.map(|at| at.to_string());
    let gateway = gateway.map(crate::id::Eui64::hex);
    let object = Told { schema: SCHEMA, event, at, gateway, rest };
    writeln!(out, "{}", json::object(&object)?)
}

/// Writes the members of an object before those of a line that holds another.
fn joined(head: &impl Serialize, line: &str, out: &mut dyn fmt::Write) -> fmt::Result {
    let head = json::object(head)?;
    let (Some(head), Some(rest)) = (head.strip_suffix('}'), line.strip_prefix('{')) else {
        return Err(fmt::Error);
    };
    write!(out, "{head},{rest}")
}
