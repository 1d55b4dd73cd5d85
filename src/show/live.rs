//! What the tap tells: a line or a JSON object each, and a view that stays in place.

mod json;
mod view;

pub use json::{json, summary_json};
pub use view::view;

use std::fmt::Write as _;

use jiff::Timestamp;

use super::{Style, text::Tone};
use crate::{
    frame::Frame,
    id::Eui64,
    intake::{Outcome, Stat, TxError, What},
    ladder::{self, Diagnosis, GatewayDiagnosis},
    live::{
        Board, Change, Counters, GatewayChange, Notice, PortWord, RecordingWord, Seen, Standing,
    },
    radio::Modulation,
    reading::MicVerdict,
    words::{Count, sentence},
};

/// Returns what happened as one line, or none where it is not worth one.
pub fn line(notice: &Notice<'_>, style: Style) -> Option<String> {
    Some(match notice {
        Notice::Frame(seen) => frame(seen, style),
        Notice::Gateway { at, gateway, peer } => {
            format!("{} gateway {gateway} speaks from {}", clock(*at), peer.ip())
        }
        Notice::Said(event) => {
            let at = event.time.map_or_else(String::new, clock);
            let head = format!("{at} {} ", short(event.gateway));
            match &event.what {
                What::Status(stat) => {
                    hanging(&format!("{head}stat "), &figures(stat), Tone::Plain, style)
                }
                What::Outcome(outcome) => head + &word(outcome, style),
                _ => return None,
            }
        }
        Notice::Ladder(change) => ladder(change, style),
        Notice::GatewayLadder(change) => gateway_ladder(change, style),
        Notice::Server { at, answers } => {
            let word = if *answers {
                style.paint(Tone::Good, "the server answers again")
            } else {
                style.paint(Tone::Bad, "THE SERVER DOES NOT ANSWER; gateways are still listened to")
            };
            format!("{} {word}", clock(*at))
        }
        Notice::Port { at, word } => {
            format!("{} {}", clock(*at), style.paint(Tone::Bad, &port(*word)))
        }
        Notice::Datagram(_) | Notice::Recording(_) | Notice::Idle => return None,
    })
}

/// Returns what is wrong at the port.
pub(super) fn port(word: PortWord) -> String {
    match word {
        PortWord::Returned(peer) => format!(
            "THE RELAY LEADS BACK HERE: what was forwarded comes again from {peer}; it is dropped"
        ),
        PortWord::Dropped(n) => {
            let datagrams = Count(usize::try_from(n).unwrap_or(usize::MAX), "datagram");
            format!("THE SYSTEM DROPPED {datagrams}: they came faster than they were read")
        }
    }
}

fn word(outcome: &Outcome, style: Style) -> String {
    match (&outcome.error, &outcome.warn) {
        (TxError::None, None) => style.paint(Tone::Good, "TX_ACK: takes the frame").into_owned(),
        (TxError::None, Some(warn)) => format!("TX_ACK: takes the frame, warns {}", warn.name()),
        (error, _) => {
            let words = format!("TX_ACK: REFUSES, {}", error.name());
            style.paint(Tone::Bad, &words).into_owned()
        }
    }
}

/// Returns what a recording has to say, and whether it is an error.
pub fn recording(word: &RecordingWord, path: &str) -> (String, bool) {
    match word {
        RecordingWord::Rotated(aside) => {
            (format!("the recording goes on in {path}; before it: {}", aside.display()), false)
        }
        RecordingWord::NotRotated(error) => {
            (format!("{path} cannot be rotated ({error}); it grows on"), false)
        }
        RecordingWord::Ended(error) => {
            (format!("{path}: recording ended: {error}; the tap goes on without it"), true)
        }
        RecordingWord::Gone => (
            format!("{path} was removed or moved: the recording begins again in a new file"),
            false,
        ),
        RecordingWord::Behind => {
            (format!("{path}: the disk does not keep up; datagrams are missing from it"), true)
        }
    }
}

/// Returns how it went, as the last words of a run.
pub fn summary(board: &Board, counters: &Counters) -> String {
    let mut out = String::new();
    let told: Vec<String> = counters
        .all()
        .into_iter()
        .filter(|(name, _, n)| *n > 0 || *name == "received")
        .map(|(_, words, n)| format!("{n} {words}"))
        .collect();
    let gateways = Count(board.gateway_count(), "gateway");
    let nodes = Count(board.node_count(), "node");
    let words = format!("{gateways}, {nodes}; {}", told.join(", "));
    for line in super::text::wrap(&words, Style::PLAIN.width) {
        let _ = writeln!(out, "{line}");
    }
    for diagnosis in board.faulty_gateways() {
        let told = diagnosis.causes.first().map(|verdict| {
            format!("{}. What to do: {}", verdict.summary, sentence(&verdict.remedy.to_string()))
        });
        let words = told.unwrap_or_else(|| gateway_standing(diagnosis));
        let words = format!("{}: {words}", gateway_name(diagnosis));
        for (i, line) in super::text::wrap(&words, Style::PLAIN.width - 2).iter().enumerate() {
            let _ = writeln!(out, "{}{line}", if i == 0 { "" } else { "  " });
        }
    }
    out
}

/// Returns how a node stands: its name, and the rest.
pub(super) fn standing(diagnosis: &Diagnosis) -> (String, String) {
    let name = match (&diagnosis.name, diagnosis.dev_eui) {
        (Some(name), _) => name.clone(),
        (None, Some(eui)) => eui.to_string(),
        (None, None) => "a stranger".to_owned(),
    };
    let mut words = diagnosis.outcome.words().to_owned();
    if let Some(rung) = diagnosis.first_broken() {
        let _ = write!(words, ", broken at {} {}", rung.number(), rung.rung());
    }
    if let Some(verdict) = diagnosis.causes.first() {
        let _ = write!(words, ": {}", verdict.cause.id);
    }
    (name, words)
}

pub(super) fn tone(diagnosis: &Diagnosis) -> Tone {
    match diagnosis.outcome {
        _ if diagnosis.has_fault() => Tone::Bad,
        ladder::Outcome::Joined | ladder::Outcome::Session => Tone::Good,
        _ => Tone::Open,
    }
}

/// Returns how a gateway stands, without its name.
pub(super) fn gateway_standing(diagnosis: &GatewayDiagnosis) -> String {
    let mut words = diagnosis.outcome.name().to_owned();
    if let Some(rung) = diagnosis.ladder.first_broken() {
        let _ = write!(words, " at {} {}", ladder::Rungs::number(rung), ladder::Rungs::name(rung));
    }
    if let Some(verdict) = diagnosis.causes.first() {
        let _ = write!(words, ": {}", verdict.cause.id);
    }
    words
}

pub(super) fn gateway_tone(diagnosis: &GatewayDiagnosis) -> Tone {
    match diagnosis.outcome {
        _ if diagnosis.has_fault() => Tone::Bad,
        ladder::GatewayOutcome::Working => Tone::Good,
        _ => Tone::Open,
    }
}

fn gateway_name(diagnosis: &GatewayDiagnosis) -> String {
    let eui = diagnosis.eui.map(|eui| eui.to_string()).unwrap_or_default();
    match &diagnosis.name {
        Some(name) => format!("gateway {name} ({eui})"),
        None => format!("gateway {eui}"),
    }
}

fn gateway_ladder(change: &GatewayChange, style: Style) -> String {
    let diagnosis = &change.diagnosis;
    let mut words = gateway_standing(diagnosis);
    if let Some(verdict) = diagnosis.causes.first() {
        let _ = write!(words, " ({})", verdict.certainty.name());
    }
    let head = format!("{} ladder ", clock(change.at));
    let name = gateway_name(diagnosis);
    let text = match &change.before {
        Some(before) if before.outcome != change.now.outcome => {
            format!("{name}: {words} (was: {})", before.outcome.name())
        }
        _ => format!("{name}: {words}"),
    };
    hanging(&head, &text, gateway_tone(diagnosis), style)
}

fn ladder(change: &Change, style: Style) -> String {
    let (name, mut words) = standing(&change.diagnosis);
    if let Some(verdict) = change.diagnosis.causes.first() {
        let _ = write!(words, " ({})", verdict.certainty.name());
    }
    let head = format!("{} ladder ", clock(change.at));
    let text = match &change.before {
        Some(Standing { outcome, .. }) if *outcome != change.now.outcome => {
            format!("{name}: {words} (was: {})", outcome.words())
        }
        _ => format!("{name}: {words}"),
    };
    hanging(&head, &text, tone(&change.diagnosis), style)
}

/// Returns words behind a head; further lines stand under the first word.
fn hanging(head: &str, text: &str, tone: Tone, style: Style) -> String {
    let room = style.width.saturating_sub(head.len());
    let mut out = String::new();
    for (i, line) in super::text::wrap(text, room).iter().enumerate() {
        let before = if i == 0 { head.to_owned() } else { format!("\n{:1$}", "", head.len()) };
        let _ = write!(out, "{before}{}", style.paint(tone, line));
    }
    out
}

/// A frame on one line: when, gateway, way, MHz, data rate, dBm and dB, what it is, whose, its MIC.
fn frame(seen: &Seen, style: Style) -> String {
    let at = seen.event.time.map_or_else(String::new, clock);
    let (way, hz, rate, signal) = match &seen.event.what {
        What::Ordered(down) => {
            let power = down.power_dbm.map(|dbm| format!("{dbm} dBm")).unwrap_or_default();
            ("down", down.freq_hz, down.modulation, power)
        }
        What::Heard(up) => {
            let rssi = up.rssi.map(|dbm| format!("{dbm:.0}")).unwrap_or_default();
            let snr = up.snr.map(|db| format!("/{db:.1}")).unwrap_or_default();
            ("up", up.freq_hz, up.modulation, rssi + &snr)
        }
        _ => ("", None, None, String::new()),
    };
    let mhz = hz.map(|hz| format!("{:.3}", f64::from(hz) / 1e6)).unwrap_or_default();
    let rate = match rate {
        // The usual width goes without saying.
        Some(Modulation::Lora { sf, bw_khz: 125 }) => format!("SF{sf}"),
        Some(rate) => rate.to_string(),
        None => String::new(),
    };
    let gateway = short(seen.event.gateway);
    let head = format!("{at} {gateway} {way:<4} {mhz:>7} {rate:<4} {signal:>9} ");
    let room = style.width.saturating_sub(head.chars().count());
    head + &content(seen, room, style)
}

fn content(seen: &Seen, room: usize, style: Style) -> String {
    let octets = seen.event.frame().map_or(0, |frame| frame.octets.len());
    let Some(reading) = &seen.reading else {
        let text = format!("bad CRC, {}", Count(octets, "byte"));
        return style.paint(Tone::Quiet, &text).into_owned();
    };
    let (verdict, tone) = match &reading.found.mic {
        MicVerdict::Holds(_) => (", MIC holds", Tone::Good),
        MicVerdict::Fails(_) => (", MIC FAILS", Tone::Bad),
        MicVerdict::Unchecked(_) => ("", Tone::Plain),
    };
    let named = match &reading.found.mic {
        MicVerdict::Holds(proof) => proof.source.node.as_deref(),
        MicVerdict::Fails(tried) => tried.first().and_then(|tried| tried.source.node.as_deref()),
        MicVerdict::Unchecked(_) => None,
    };
    let (what, whose, after) = match &reading.decoded.frame {
        Some(Frame::JoinRequest(request)) => ("Join-Request", request.dev_eui.hex(), String::new()),
        Some(Frame::RejoinRequest(request)) => {
            let eui = request.body.dev_eui().map(crate::id::DevEui::hex).unwrap_or_default();
            ("Rejoin-Request", eui, String::new())
        }
        Some(Frame::JoinAccept(_)) => ("Join-Accept", String::new(), String::new()),
        Some(Frame::Data(data)) => {
            ("data", data.dev_addr.to_string(), format!(" FCnt {}", data.fcnt))
        }
        Some(Frame::Proprietary(_)) => ("proprietary", String::new(), String::new()),
        None => {
            let text = format!("no complete frame, {}", Count(octets, "byte"));
            return style.paint(Tone::Bad, &text).into_owned();
        }
    };
    let whose = named.map_or(whose, str::to_owned);
    let used = what.len() + 1 + after.len() + verdict.len();
    let whose = cut(&whose, room.saturating_sub(used));
    let space = if whose.is_empty() { "" } else { " " };
    format!("{what}{space}{whose}{after}{}", style.paint(tone, verdict))
}

/// Returns a text in at most so many columns.
pub(super) fn cut(text: &str, room: usize) -> String {
    if text.chars().count() <= room {
        return text.to_owned();
    }
    let mut short: String = text.chars().take(room.saturating_sub(1)).collect();
    short.push('~');
    short
}

fn figures(stat: &Stat) -> String {
    let counts = [
        ("received", stat.rxnb),
        ("CRC ok", stat.rxok),
        ("forwarded", stat.rxfw),
        ("told to send", stat.dwnb),
        ("sent", stat.txnb),
    ];
    let mut words: Vec<String> =
        counts.iter().filter_map(|(name, n)| n.map(|n| format!("{name} {n}"))).collect();
    words.extend(stat.ackr.map(|rate| format!("{rate}% acknowledged")));
    if words.is_empty() { "without figures".to_owned() } else { words.join(", ") }
}

/// Returns the time of day, UTC.
pub(super) fn clock(at: Timestamp) -> String {
    // 2026-03-02T08:00:03Z
    at.to_string().get(11..19).unwrap_or_default().to_owned()
}

/// Returns the last four digits of a gateway's EUI, enough to tell a handful apart.
fn short(gateway: Option<Eui64>) -> String {
    gateway
        .map_or_else(|| "----".to_owned(), |eui| eui.hex().get(12..).unwrap_or_default().to_owned())
}
