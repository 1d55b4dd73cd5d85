//! Any log: lines of text in which a frame hides.
//!
//! | line | is read as |
//! |------|------------|
//! | JSON of the forwarder or the station protocol behind a time and words | that protocol |
//! | JSON of any other form, at any depth | frames by the names of their members |
//! | words and octets | frames by the words before them |
//! | JSON around a line of text, as containers and journals keep it | that line |
//!
//! What stands beside a frame is read by the words that name it ([`words`]), and no form is asked
//! for. Whether octets are a frame at all is decided by points ([`likely`]). All that comes from here
//! is marked as guessed, and is left out where only formats of their own are wanted.
//!
//! Times are taken with their zone; without one they are taken as UTC, so that what passed between
//! two lines is right and the time of day may not be; a clock without a date gives no time at all
//! ([`stamp`]).

mod bare;
mod facts;
mod likely;
mod prefix;
mod stamp;
mod walk;
mod words;

use std::{borrow::Cow, collections::VecDeque, ops::Range};

use jiff::Timestamp;
use serde_json::Value;

pub(super) use self::likely::is_lawful_alone;
pub(super) use self::stamp::{Stamp, stamp};
use self::{
    facts::Facts,
    walk::{Ack, Find, Hit},
};
use super::{
    datagram::{Datagram, Downlink, Found, Kind, TxAck, TxError, Uplink},
    forwarder,
    note::{Note, Place, Remark},
    station::{Around, Station},
    text::without_colours,
};
use crate::{
    frame::{Direction, Mhdr},
    id::Eui64,
};

/// What earlier lines say of the later ones.
#[derive(Debug, Default)]
pub(super) struct Log {
    pub(super) station: Station,
    sent: VecDeque<Sent>,
    token: u16,
}

/// A downlink whose fate may be told by its number.
#[derive(Debug)]
struct Sent {
    id: String,
    gateway: Option<Eui64>,
    tokens: Vec<u16>,
}

/// What a line says around what is found in it.
#[derive(Clone, Debug, Default)]
struct Head {
    line: u64,
    at: Option<Timestamp>,
    gateway: Option<Eui64>,
    /// What its time lacks.
    lacks: Option<Remark>,
}

impl Log {
    /// Returns the datagrams of a message of the station protocol, which may be none; `None` where
    /// the line is no such message.
    pub(super) fn message(&mut self, text: &str, line: u64) -> Option<Vec<Datagram>> {
        let message = short(text).and_then(|text| serde_json::from_str(text).ok())?;
        let around = Around { line, at: None, gateway: None, found: Found::Whole };
        self.station.message(&message, around)
    }

    /// Returns the datagrams of a line that is one JSON value; `None` where it holds none.
    pub(super) fn json(&mut self, text: &str, line: u64) -> Option<Vec<Datagram>> {
        let value: Value = short(text).and_then(|text| serde_json::from_str(text).ok())?;
        self.value(&value, &Head { line, ..Head::default() }, LAYERS)
    }

    /// Returns the datagrams of a line of text; `None` where it holds none.
    pub(super) fn text(&mut self, text: &str, line: u64) -> Option<Vec<Datagram>> {
        self.words(&without_colours(short(text)?), line, LAYERS)
    }

    /// What JSON holds, or else the line of text that it was put around.
    fn value(&mut self, value: &Value, head: &Head, layers: u8) -> Option<Vec<Datagram>> {
        if let Some(datagrams) = self.finds(walk::walk(value), head) {
            return Some(datagrams);
        }
        let layers = layers.checked_sub(1)?;
        let (map, facts) = (value.as_object()?, walk::beside(value.as_object()?));
        let mut texts =
            map.iter().filter(|(name, _)| words::is_line(name)).filter_map(|(_, v)| v.as_str());
        let mut datagrams =
            texts.find_map(|text| self.words(&without_colours(text), head.line, layers))?;
        let outer = head.at.or(facts.time);
        for datagram in &mut datagrams {
            let lacks = |note: &Note| matches!(note.remark, Remark::NoZone | Remark::NoDate);
            if outer.is_some() && (datagram.at.is_none() || datagram.notes.iter().any(lacks)) {
                datagram.at = outer;
                datagram.notes.retain(|note| !lacks(note));
            }
            datagram.gateway = datagram.gateway.or(facts.gateway).or(head.gateway);
        }
        Some(datagrams)
    }

    fn words(&mut self, text: &str, line: u64, layers: u8) -> Option<Vec<Datagram>> {
        let mut outside = Cow::Borrowed(text);
        if let Some((place, value)) = json_within(text) {
            let before = text.get(..place.start).unwrap_or_default();
            let head = Head::of(before, line);
            if let Value::Object(message) = &value {
                let around =
                    Around { line, at: head.at, gateway: head.gateway, found: Found::Prefixed };
                if let Some(mut datagrams) = self.station.message(message, around) {
                    head.note(&mut datagrams);
                    return Some(datagrams);
                }
            }
            if let Some(datagrams) = self.value(&value, &head, layers) {
                return Some(datagrams);
            }
            // What stands beside it in the JSON has refuted what is in there.
            outside = format!("{before} {}", text.get(place.end..).unwrap_or_default()).into();
        }
        let octets = bare::find(&outside);
        let beside = prefix::facts(text);
        let hits = octets.into_iter().filter(|o| likely::is_frame(&o.octets, o.label, &beside));
        let hits = hits.map(|octets| {
            let (beside, receptions) = (beside.clone(), Vec::new());
            Find::Frame(Hit { octets: octets.octets, beside, receptions, said: None })
        });
        let hits: Vec<_> = hits.collect();
        if hits.is_empty() {
            let mut datagrams = vec![Self::wordless(text, line)?];
            Head::of(text, line).note(&mut datagrams);
            return Some(datagrams);
        }
        let head = Head::of(text, line);
        self.finds(hits, &head)
    }

    /// Datagrams that need no JSON, by the protocol's words for them.
    fn wordless(text: &str, line: u64) -> Option<Datagram> {
        let kind = prefix::kind(text)?;
        let ack = match kind {
            Kind::PushAck | Kind::PullData | Kind::PullAck => None,
            Kind::TxAck => Some(TxAck { error: prefix::tx_ack(text)?, ..TxAck::default() }),
            Kind::PushData | Kind::PullResp => return None,
        };
        let head = Head::of(text, line);
        Some(Datagram { ack, ..head.datagram(kind, Found::Prefixed) })
    }

    fn finds(&mut self, finds: Vec<Find>, head: &Head) -> Option<Vec<Datagram>> {
        let mut out = Vec::new();
        let mut taken = false;
        let mut lacks = head.lacks.clone();
        let mut last: Option<Asked> = None;
        for find in finds {
            if let Find::Frame(hit) = &find
                && hit.beside.zoneless
            {
                lacks = lacks.or(Some(Remark::NoZone));
            }
            match find {
                Find::Station(message) => {
                    let Head { line, at, gateway, .. } = *head;
                    let around = Around { line, at, gateway, found: Found::Prefixed };
                    let datagrams = self.station.message(&message, around);
                    taken |= datagrams.is_some();
                    out.extend(datagrams.into_iter().flatten());
                }
                Find::Forwarder { json, at, gateway } => {
                    let Ok(datagram) = forwarder::capture_line(&json, head.line) else { continue };
                    out.push(Datagram {
                        at: datagram.at.or(head.at).or(at),
                        gateway: datagram.gateway.or(gateway).or(head.gateway),
                        found: Found::Prefixed,
                        ..datagram
                    });
                }
                Find::Frame(hit) => match direction(&hit.octets) {
                    Direction::Uplink => heard(hit, head, &mut out),
                    Direction::Downlink => out.push(self.asked(hit, head, &mut last)),
                },
                Find::Ack(ack) => {
                    let acks = self.acknowledged(&ack, head);
                    taken |= acks.is_some();
                    out.extend(acks.into_iter().flatten());
                }
            }
        }
        Head { lacks, ..head.clone() }.note(&mut out);
        (taken || !out.is_empty()).then_some(out)
    }

    fn asked(&mut self, hit: Hit, head: &Head, last: &mut Option<Asked>) -> Datagram {
        let Hit { octets, mut beside, receptions, said } = hit;
        if let [only] = &receptions[..] {
            beside.or(only);
        }
        self.token = self.token.wrapping_add(1);
        let token = self.token;
        let gateway = beside.gateway.or(head.gateway);
        let alternative = last.as_ref().is_some_and(|l| l.octets == octets && l.gateway == gateway);
        *last = Some(Asked { octets: octets.clone(), gateway });
        if let Some(id) = &beside.id {
            match self.sent.back_mut().filter(|sent| alternative && sent.id == *id) {
                Some(sent) => sent.tokens.push(token),
                None => self.sent.push_back(Sent { id: id.clone(), gateway, tokens: vec![token] }),
            }
            if self.sent.len() > MOST_SENT {
                self.sent.pop_front();
            }
        }
        let down = Downlink {
            when: beside.when(),
            freq_hz: beside.freq_hz,
            modulation: beside.modulation(),
            coding_rate: beside.coding_rate.clone(),
            power_dbm: beside.power_dbm,
            inverted: beside.inverted,
            alternative,
            octets,
            ..Downlink::default()
        };
        let at = head.at.or(said).or(beside.time);
        let datagram = head.at(at, gateway).datagram(Kind::PullResp, Found::Guessed);
        Datagram { token: Some(token), txpk: Some(down), ..datagram }
    }

    /// Acknowledgements of a downlink that the log shows; `None` for what is something else.
    fn acknowledged(&mut self, ack: &Ack, head: &Head) -> Option<Vec<Datagram>> {
        let gateway = ack.beside.gateway.or(head.gateway);
        let of = |sent: &Sent| sent.id == ack.id && (gateway.is_none() || sent.gateway == gateway);
        let place = self.sent.iter().rposition(of)?;
        let sent = self.sent.remove(place)?;
        let words = ack.words.iter().filter_map(|(place, word)| {
            let head = head.at(head.at.or(ack.said), sent.gateway);
            let error = fate(word, ack.listed)?;
            Some(Datagram {
                token: Some(*sent.tokens.get(*place)?),
                ack: Some(TxAck { error, ..TxAck::default() }),
                ..head.datagram(Kind::TxAck, Found::Guessed)
            })
        });
        Some(words.collect())
    }
}

/// The downlink before another in one line.
struct Asked {
    octets: Vec<u8>,
    gateway: Option<Eui64>,
}

impl Head {
    fn of(before: &str, line: u64) -> Self {
        let (at, lacks) = match stamp(before) {
            Some(Stamp::Utc(at)) => (Some(at), None),
            Some(Stamp::Local(at)) => (Some(at), Some(Remark::NoZone)),
            Some(Stamp::Clock) => (None, Some(Remark::NoDate)),
            None => (None, None),
        };
        Self { line, at, gateway: prefix::gateway(before), lacks }
    }

    const fn at(&self, at: Option<Timestamp>, gateway: Option<Eui64>) -> Self {
        Self { line: self.line, at, gateway, lacks: None }
    }

    fn datagram(&self, kind: Kind, found: Found) -> Datagram {
        let Self { line, at, gateway, .. } = *self;
        Datagram { line, at, gateway, found, ..Datagram::new(kind) }
    }

    /// Says of datagrams that they were guessed, and what their time is worth.
    fn note(&self, datagrams: &mut [Datagram]) {
        for datagram in datagrams {
            let place = Place::Line;
            datagram.notes.push(Note { place, member: "line", remark: Remark::Guessed });
            if let Some(remark) = &self.lacks {
                datagram.notes.push(Note { place, member: "time", remark: remark.clone() });
            }
        }
    }
}

fn heard(hit: Hit, head: &Head, out: &mut Vec<Datagram>) {
    let Hit { octets, beside, mut receptions, said } = hit;
    if receptions.is_empty() {
        receptions.push(Facts::default());
    }
    for mut own in receptions {
        own.or(&beside);
        let up = Uplink {
            octets: octets.clone(),
            tmst: own.tmst(),
            tmms: own.gps_ms,
            time: own.time,
            freq_hz: own.freq_hz,
            modulation: own.modulation(),
            coding_rate: own.coding_rate.clone(),
            rssi: own.rssi,
            snr: own.snr,
            crc: own.crc.unwrap_or_default(),
            ..Uplink::default()
        };
        let (at, gateway) = (head.at.or(said).or(own.time), own.gateway.or(head.gateway));
        let datagram = head.at(at, gateway).datagram(Kind::PushData, Found::Guessed);
        out.push(Datagram { rxpk: vec![up], ..datagram });
    }
}

/// What is taken for a frame has a type that goes one way.
fn direction(octets: &[u8]) -> Direction {
    let mhdr = octets.first().map(|first| Mhdr(*first));
    mhdr.and_then(|mhdr| mhdr.ftype().direction()).unwrap_or(Direction::Uplink)
}

/// What a word says of a downlink: sent, or why not in the protocol's words. Others may speak of a
/// queue, or of a call between servers, and say nothing of the air; so may a mere OK for all of it.
fn fate(word: &str, listed: bool) -> Option<TxError> {
    let is = |good: &&str| word.eq_ignore_ascii_case(good);
    if ["SENT", "TRANSMITTED"].iter().any(is)
        || listed && ["", "OK", "NONE", "SUCCESS"].iter().any(is)
    {
        return Some(TxError::None);
    }
    match TxError::by_name(word) {
        TxError::None | TxError::Other(_) => None,
        error => Some(error),
    }
}

fn short(text: &str) -> Option<&str> {
    (text.len() <= GUESS_CAP).then_some(text)
}

/// Returns the first JSON object or list within a line, and where it is.
fn json_within(text: &str) -> Option<(Range<usize>, Value)> {
    let begins = |(_, c): &(usize, char)| matches!(c, '{' | '[');
    for (at, _) in text.char_indices().filter(begins).take(MOST_BEGINNINGS) {
        let rest = text.get(at..)?;
        let mut values = serde_json::Deserializer::from_str(rest).into_iter::<Value>();
        match values.next() {
            // `[7]`, `[]` and `{}` are marks of a log.
            Some(Ok(value)) if holds_members(&value) => {
                return Some((at..at + values.byte_offset(), value));
            }
            _ => {}
        }
    }
    None
}

fn holds_members(value: &Value) -> bool {
    match value {
        Value::Object(map) => !map.is_empty(),
        Value::Array(list) => list.iter().any(Value::is_object),
        _ => false,
    }
}

/// Octets of a line in which a frame is looked for: a log has no longer ones, and JSON takes many
/// times its length once it is read.
const GUESS_CAP: usize = 1 << 16;
/// A line of text in JSON, as containers and journals keep what a program wrote: that twice.
const LAYERS: u8 = 2;
/// Places in a line at which JSON may begin.
const MOST_BEGINNINGS: usize = 8;
/// Downlinks whose fate is waited for.
const MOST_SENT: usize = 4_096;
