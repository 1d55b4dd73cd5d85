//! Any log: lines of text in which frames hide.
//!
//! A line may be JSON at any depth, alone or after a prefix, the JSON of a datagram after a prefix,
//! or text with a frame in hex or base64 behind a word that speaks of one. What is taken must be a
//! frame that the standard allows ([`plausible`]) and stand where a frame is meant to stand
//! ([`words`]); everything taken so is marked as guessed. Nothing behind a word that speaks of a key
//! is ever looked at.

mod found;
mod hidden;
mod plausible;
mod words;

use jiff::Timestamp;
use serde_json::Value;

use super::{
    datagram::{Datagram, Kind},
    forwarder::datagram_json,
    note::{Note, Place, Remark},
    text::frame_text,
};
use crate::id::Eui64;

use found::Found;
pub use found::bare_frame;

/// What a line says before its JSON or beside its frame.
#[derive(Clone, Copy, Debug, Default)]
struct Prefix {
    at: Option<Timestamp>,
    /// The time names no zone.
    zoneless: bool,
    gateway: Option<Eui64>,
}

/// Returns what hides in a line of text: datagrams, in the order in which they stand there.
pub(super) fn line(text: &str, number: u64) -> Vec<Datagram> {
    let mut out = match json_in(text) {
        Some((before, value)) => of_json(&prefix(before), before, &value),
        None => of_text(text),
    };
    for datagram in &mut out {
        datagram.line = number;
        datagram.notes.push(Note { place: Place::Line, member: "line", remark: Remark::Guessed });
    }
    out
}

/// Splits a line before the first brace or bracket from which all is JSON.
fn json_in(text: &str) -> Option<(&str, Value)> {
    let starts = text.char_indices().filter(|(_, c)| matches!(c, '{' | '['));
    starts.take(BRACES).find_map(|(at, _)| {
        let (before, json) = text.split_at_checked(at)?;
        let value: Value = serde_json::from_str(json.trim_end()).ok()?;
        let holds_more = value.as_object().is_some_and(|o| !o.is_empty())
            || value
                .as_array()
                .is_some_and(|list| list.iter().any(|v| v.is_object() || v.is_array()));
        holds_more.then_some((before, value))
    })
}

/// Braces at which a line's JSON is looked for: prefixes have few.
const BRACES: usize = 8;

fn of_json(prefix: &Prefix, before: &str, value: &Value) -> Vec<Datagram> {
    if let Some(datagram) = forwarded(prefix, before, value) {
        return vec![datagram];
    }
    hidden::search(value).into_iter().map(|found| found.datagram(prefix)).collect()
}

/// The JSON of the gateway's UDP protocol, of whatever kind the prefix or its members say.
fn forwarded(prefix: &Prefix, before: &str, value: &Value) -> Option<Datagram> {
    let named =
        before.split(|c: char| !(c.is_ascii_alphanumeric() || c == '_')).find_map(Kind::by_name);
    let shape = [
        ("rxpk", Kind::PushData),
        ("stat", Kind::PushData),
        ("txpk", Kind::PullResp),
        ("txpk_ack", Kind::TxAck),
    ];
    let object = value.as_object()?;
    let of_members = shape
        .iter()
        .find(|(member, _)| object.get(*member).is_some_and(|v| v.is_object() || v.is_array()));
    let kind = of_members.map(|(_, kind)| *kind)?;
    let json = serde_json::to_vec(value).ok()?;
    let mut datagram = datagram_json(named.unwrap_or(kind), &json).ok()?;
    datagram.at = prefix.at;
    datagram.gateway = prefix.gateway;
    if prefix.zoneless {
        datagram.notes.push(zoneless());
    }
    Some(datagram)
}

fn zoneless() -> Note {
    Note { place: Place::Line, member: "time", remark: Remark::NoZone }
}

/// A frame as text behind a word that speaks of one.
fn of_text(text: &str) -> Vec<Datagram> {
    let prefix = prefix(text);
    let mut out = Vec::new();
    let mut speaks = false;
    let mut secret = false;
    let mut rest = text;
    while let Some(start) = rest.find(|c: char| !is_edge(c)) {
        let (_, from) = rest.split_at(start);
        let end = from.find(is_edge).unwrap_or(from.len());
        let (token, after) = from.split_at(end);
        // Octets with spaces between them are one token.
        let run = words::octets_apart(from);
        if let (true, false, Some((octets, length))) = (speaks, secret, run)
            && plausible::is_plausible(&octets)
        {
            out.push(Found::of(octets).datagram(&prefix));
            rest = from.split_at(length).1;
            continue;
        }
        let octets = (!secret).then(|| octets_of(token)).flatten();
        match octets {
            Some(octets)
                if plausible::is_plausible(&octets)
                    && (speaks || plausible::is_request(&octets)) =>
            {
                out.push(Found::of(octets).datagram(&prefix));
            }
            _ => {
                let of_key = words::of_key(token);
                // A key's word holds for what stands behind it, up to the next word of a frame.
                secret = of_key || secret && !words::of_frame(token);
                speaks = !of_key && (speaks || words::of_frame(token));
            }
        }
        rest = after;
    }
    out
}

fn is_edge(c: char) -> bool {
    c.is_whitespace()
        || matches!(c, ',' | ';' | '"' | '\'' | '(' | ')' | '<' | '>' | '[' | ']' | '{' | '}' | '|')
        || matches!(c, '=' | ':')
}

/// Returns the octets of a token that is long enough to be a frame.
fn octets_of(token: &str) -> Option<Vec<u8>> {
    let token = token.trim_end_matches('.');
    // Twelve octets are the least that a data frame has.
    let long =
        token.len() >= 24 || token.len() >= 16 && token.contains(|c: char| !c.is_ascii_hexdigit());
    let octets = long.then(|| frame_text(token).ok())??.octets;
    Some(octets)
}

/// Reads what a line says before its JSON or frame: a time at its beginning, a gateway's EUI.
fn prefix(text: &str) -> Prefix {
    let mut out = Prefix::default();
    let body = text.trim_start_matches(|c: char| c.is_whitespace() || matches!(c, '[' | '<' | '('));
    let end = body.find([']', '>', ')', ',', '|']).unwrap_or(body.len()).min(40);
    let head = body.get(..end).unwrap_or(body);
    (out.at, out.zoneless) = words::leading_time(head)
        .or_else(|| words::leading_time(body))
        .map_or((None, false), |(at, zoneless)| (Some(at), zoneless));
    let mut euis = text.split(|c: char| !c.is_ascii_hexdigit()).filter(|t| t.len() == 16);
    out.gateway = euis.find_map(|t| t.parse().ok());
    out
}
