//! Any log: lines of text in which a frame hides.
//!
//! | line | is read as |
//! |------|------------|
//! | JSON of the forwarder or the station protocol behind a time and words | that protocol |
//! | JSON of any other form, at any depth | frames by the names of their members |
//! | words and octets | frames by the words before them |
//! | octets alone, or rows of them | frames by the words of the line before |
//! | a row of a table whose head names octets | frames by the names of the columns |
//! | words and the names of a gateway's statistics | its report |
//! | JSON around a line of text, as containers and journals keep it | that line |
//!
//! What stands beside a frame is read by the words that name it ([`words`]), and no form is asked
//! for. Whether octets are a frame at all is decided by points ([`likely`]). All that comes from here
//! is marked as guessed, and is left out where only formats of their own are wanted.
//!
//! Times are taken with their zone; without one they are taken as UTC, so that what passed between
//! two lines is right and the time of day may not be; a clock without a date gives no time at all
//! ([`stamp`]).

mod around;
mod bare;
mod datagram;
mod facts;
mod figures;
mod likely;
mod prefix;
mod table;
mod walk;
mod words;

use std::{
    borrow::Cow,
    collections::{HashSet, VecDeque},
    ops::Range,
};

use jiff::Timestamp;
use serde_json::Value;

pub(super) use self::{
    around::{is_lawful_octets, speaks_of_a_secret, stated_size},
    likely::{begins_well, is_lawful_alone},
};
use self::{
    facts::Facts,
    likely::Label,
    table::Table,
    walk::{Ack, Find, Hit},
};
use super::{
    envelope::Envelope,
    event::{Event, Heard, HowFound, Leg, Ordered, Outcome, Position, TxError, What},
    forwarder,
    header::DatagramKind,
    note::{Note, Remark, Within},
    rows::Rows,
    stamp::{Stamp, stamp},
    station::Station,
    text::without_colours,
    words::{Speech, Spoken},
};
use crate::{
    frame::{Direction, Frame, decode},
    id::{DevAddr, Eui64},
};

/// What earlier lines say of the later ones.
#[derive(Debug, Default)]
pub(super) struct Log {
    pub(super) station: Station,
    sent: VecDeque<Sent>,
    /// The number of the last order.
    last_number: u32,
    /// The gateway that lines name, and whether they name several.
    named: Option<Eui64>,
    several: bool,
    /// The last line of words in which nothing was found: it may speak of the next.
    before: String,
    /// The addresses of frames that were found.
    addresses: HashSet<DevAddr>,
    table: Option<Table>,
    speech: Speech,
}

/// A downlink whose fate may be told by its id.
#[derive(Debug)]
struct Sent {
    id: String,
    gateway: Option<Eui64>,
    numbers: Vec<u32>,
}

/// What a line says around what is found in it.
#[derive(Clone, Debug, Default)]
struct Head {
    place: Position,
    time: Option<Timestamp>,
    gateway: Option<Eui64>,
    /// What its time lacks.
    lacks: Option<Remark>,
}

impl Log {
    /// Returns the events of a message of the station protocol, which may be none; `None` where
    /// the line is no such message.
    pub(super) fn message(&mut self, text: &str, place: Position) -> Option<Vec<Event>> {
        let message = short(text).and_then(|text| serde_json::from_str(text).ok())?;
        let mut out = Vec::new();
        self.station.message(&message, &Envelope::at(place), &mut out).then_some(out)
    }

    /// Returns the events of a line that is one JSON value; `None` where it holds none.
    pub(super) fn json(&mut self, text: &str, place: Position) -> Option<Vec<Event>> {
        let value: Value = short(text).and_then(|text| serde_json::from_str(text).ok())?;
        self.value(&value, &Head { place, ..Head::default() }, LAYERS)
    }

    /// Returns the events of a line of text; `None` where it holds none.
    pub(super) fn text(&mut self, text: &str, place: Position) -> Option<Vec<Event>> {
        let text = without_colours(short(text)?);
        if let Some(value) = self.table.as_ref().and_then(|table| table.row(&text)) {
            return self.value(&value, &Head { place, ..Head::default() }, 0);
        }
        self.table = Table::head(&text).or(self.table.take());
        self.words(&text, place, LAYERS)
    }

    /// Returns the events of a line that is one text in quotes.
    pub(super) fn quoted(&mut self, text: &str, place: Position) -> Option<Vec<Event>> {
        if text.trim_start().starts_with('"') { self.text(text, place) } else { None }
    }

    /// Keeps a line of words, as much of it as may speak of the next one.
    pub(super) fn remember(&mut self, text: &str) {
        self.before.clear();
        self.before.extend(text.chars().take(MOST_BEFORE));
    }

    /// Returns the last line of words.
    pub(super) fn before(&self) -> &str {
        &self.before
    }

    /// Returns the events of octets over several lines; `None` where they are nothing.
    pub(super) fn rows(&mut self, rows: &Rows) -> Option<Vec<Event>> {
        let (place, text) = rows.lines.first()?;
        let more = u32::try_from(rows.lines.len().saturating_sub(1)).ok()?;
        let head = Head::of(text, Position { more, ..*place });
        let datagram = rows.udp().unwrap_or(&rows.octets);
        if let Some(mut events) = datagram::events(datagram, &head) {
            head.note(&mut events);
            return Some(events);
        }
        let label = self.label(rows.label(), &rows.octets);
        let before = if speaks_of_a_secret(&self.before) { "" } else { &self.before };
        let beside = prefix::facts(&format!("{before} {}", rows.label()));
        let hit = self.hit(&rows.octets, label, &beside)?;
        self.finds(vec![hit], &head)
    }

    /// What names octets: the word before them in their line, the line before it where nothing else
    /// stands in theirs, or an address that other frames have.
    fn label(&self, before: &str, octets: &[u8]) -> Label {
        let mut label = bare::label(before);
        if label == Label::None && !before.contains(char::is_alphabetic) {
            label = around::label(&self.before);
        }
        let Some(Frame::Data(data)) = decode(octets).frame else { return label };
        if self.addresses.contains(&data.dev_addr) { label.max(Label::OnAir) } else { label }
    }

    fn hit(&self, octets: &[u8], label: Label, beside: &Facts) -> Option<Find> {
        let mut beside = beside.clone();
        beside.size = beside.size.or(stated_size(&self.before).map(|size| size as u64));
        let frame = likely::frame(octets, label, &beside)?;
        Some(Find::Frame(Box::new(Hit { frame, beside, receptions: Vec::new(), said: None })))
    }

    /// What JSON holds, or else the line of text that it was put around.
    fn value(&mut self, value: &Value, head: &Head, layers: u8) -> Option<Vec<Event>> {
        if let Some(events) = self.finds(walk::walk(value), head) {
            return Some(events);
        }
        let spoken = self.speech.json(value, head.place);
        if !spoken.is_empty() {
            return Some(self.said(spoken, head));
        }
        let layers = layers.checked_sub(1)?;
        let (map, facts) = (value.as_object()?, walk::beside(value.as_object()?));
        let mut texts =
            map.iter().filter(|(name, _)| words::is_line(name)).filter_map(|(_, v)| v.as_str());
        let mut events =
            texts.find_map(|text| self.words(&without_colours(text), head.place, layers))?;
        let outer = head.time.or(facts.time);
        let lacks = |note: &Note| matches!(note.remark, Remark::NoZone | Remark::NoDate);
        let lacking = events.iter().flat_map(|event| &event.notes).any(lacks);
        for event in &mut events {
            if outer.is_some() && (event.time.is_none() || lacking) {
                event.time = outer;
                event.notes.retain(|note| !lacks(note));
            }
            event.gateway = event.gateway.or(facts.gateway).or(head.gateway);
        }
        Some(events)
    }

    fn words(&mut self, text: &str, place: Position, layers: u8) -> Option<Vec<Event>> {
        let mut outside = Cow::Borrowed(text);
        if let Some((at, value)) = json_within(text) {
            let before = text.get(..at.start).unwrap_or_default();
            let head = Head::of(before, place);
            if let Value::Object(message) = &value {
                let mut events = Vec::new();
                if self.station.message(message, &head.envelope(HowFound::Prefixed), &mut events) {
                    head.note(&mut events);
                    return Some(events);
                }
            }
            if let Some(events) = self.value(&value, &head, layers) {
                return Some(events);
            }
            // What stands beside it in the JSON has refuted what is in there.
            outside = format!("{before} {}", text.get(at.end..).unwrap_or_default()).into();
        }
        let head = Head::of(text, place);
        if let Some(mut events) = datagram::within(&outside, &head) {
            head.note(&mut events);
            return Some(events);
        }
        let octets = bare::find(&outside, &|before, octets| self.label(before, octets));
        let beside = prefix::facts(text);
        let hits: Vec<_> = octets
            .into_iter()
            .filter_map(|octets| self.hit(&octets.octets, octets.label, &beside))
            .collect();
        if hits.is_empty() {
            let spoken = self.speech.line(&outside, place);
            if !spoken.is_empty() {
                return Some(self.said(spoken, &head));
            }
        }
        self.names(head.gateway);
        if hits.is_empty() {
            let report = figures::stat(text).map(|stat| What::Status(Box::new(stat)));
            let (found, what) = match report {
                Some(report) => (HowFound::Guessed, report),
                None => (HowFound::Prefixed, wordless(text)?),
            };
            let mut events = vec![head.envelope(found).event(what)];
            self.own(&mut events);
            head.note(&mut events);
            return Some(events);
        }
        self.finds(hits, &head)
    }

    /// What words say, as events.
    fn said(&self, spoken: Vec<Spoken>, head: &Head) -> Vec<Event> {
        let event = |Spoken { place, gateway, said }| {
            let gateway = gateway.or(self.named.filter(|_| !self.several));
            let head = Head { place, ..head.clone() };
            head.with(head.time, gateway).event(What::Said(Box::new(said)))
        };
        let mut events: Vec<Event> = spoken.into_iter().map(event).collect();
        head.note(&mut events);
        events
    }

    /// Remembers a gateway that a line names.
    fn names(&mut self, gateway: Option<Eui64>) {
        if let Some(eui) = gateway {
            self.several |= *self.named.get_or_insert(eui) != eui;
        }
    }

    /// A gateway's own log names the gateway once, and not in every report.
    fn own(&self, events: &mut [Event]) {
        for event in events.iter_mut().filter(|event| event.status().is_some()) {
            event.gateway = event.gateway.or(self.named.filter(|_| !self.several));
        }
    }

    fn finds(&mut self, finds: Vec<Find>, head: &Head) -> Option<Vec<Event>> {
        let mut out = Vec::new();
        let mut taken = false;
        let mut lacks = head.lacks.clone();
        let mut last: Option<(Vec<u8>, Option<Eui64>)> = None;
        for find in finds {
            match find {
                Find::Station(message) => {
                    let envelope = head.envelope(HowFound::Prefixed);
                    taken |= self.station.message(&message, &envelope, &mut out);
                }
                Find::Forwarder { json, at, gateway } => {
                    let mut events = Vec::new();
                    if forwarder::capture_line(&json, head.place, &mut events).is_err() {
                        continue;
                    }
                    for event in &mut events {
                        event.time = event.time.or(head.time).or(at);
                        event.gateway = event.gateway.or(gateway).or(head.gateway);
                        event.found = HowFound::Prefixed;
                    }
                    self.names(head.gateway);
                    self.own(&mut events);
                    out.append(&mut events);
                }
                Find::Frame(hit) => {
                    if let Some(Frame::Data(data)) = &hit.frame.frame
                        && self.addresses.len() < MOST_ADDRESSES
                    {
                        self.addresses.insert(data.dev_addr);
                    }
                    if hit.beside.zoneless {
                        lacks = lacks.or(Some(Remark::NoZone));
                    }
                    match hit.direction() {
                        Direction::Uplink => heard(*hit, head, &mut out),
                        Direction::Downlink => out.push(self.asked(*hit, head, &mut last)),
                    }
                }
                Find::Ack(ack) => {
                    let outcomes = self.outcomes(&ack, head);
                    taken |= outcomes.is_some();
                    out.extend(outcomes.into_iter().flatten());
                }
            }
        }
        Head { lacks, ..head.clone() }.note(&mut out);
        (taken || !out.is_empty()).then_some(out)
    }

    /// `last` is the downlink before it in its line, and its gateway.
    fn asked(
        &mut self,
        hit: Hit,
        head: &Head,
        last: &mut Option<(Vec<u8>, Option<Eui64>)>,
    ) -> Event {
        let Hit { frame, mut beside, receptions, said } = hit;
        if let [only] = &receptions[..] {
            beside.or(only);
        }
        self.last_number = self.last_number.wrapping_add(1);
        let number = self.last_number;
        let gateway = beside.gateway.or(head.gateway);
        let this = Some((frame.octets.clone(), gateway));
        let alternative = *last == this;
        *last = this;
        if let Some(id) = &beside.id {
            match self.sent.back_mut().filter(|sent| alternative && sent.id == *id) {
                Some(sent) => sent.numbers.push(number),
                None => {
                    self.sent.push_back(Sent { id: id.clone(), gateway, numbers: vec![number] });
                }
            }
            if self.sent.len() > MOST_SENT {
                self.sent.pop_front();
            }
        }
        let ordered = Ordered {
            when: beside.when(),
            freq_hz: beside.freq_hz,
            modulation: beside.modulation(),
            coding_rate: beside.coding_rate.clone(),
            power_dbm: beside.power_dbm,
            inverted: beside.inverted,
            alternative,
            number: Some(number),
            ..Ordered::of(frame)
        };
        let time = head.time.or(said).or(beside.time);
        head.with(time, gateway).event(What::Ordered(Box::new(ordered)))
    }

    /// What became of a downlink that the log shows; `None` for what is something else.
    fn outcomes(&mut self, ack: &Ack, head: &Head) -> Option<Vec<Event>> {
        let gateway = ack.beside.gateway.or(head.gateway);
        let of = |sent: &Sent| sent.id == ack.id && (gateway.is_none() || sent.gateway == gateway);
        let place = self.sent.iter().rposition(of)?;
        let sent = self.sent.remove(place)?;
        let envelope = head.with(head.time.or(ack.said), sent.gateway);
        let words = ack.words.iter().filter_map(|(place, word)| {
            let (error, number) = (fate(word, ack.listed)?, Some(*sent.numbers.get(*place)?));
            let outcome = Outcome { error, number, ..Outcome::default() };
            Some(envelope.event(What::Outcome(Box::new(outcome))))
        });
        Some(words.collect())
    }
}

impl Head {
    fn of(before: &str, place: Position) -> Self {
        let (time, lacks) = match stamp(before) {
            Some(Stamp::Utc(time)) => (Some(time), None),
            Some(Stamp::Local(time)) => (Some(time), Some(Remark::NoZone)),
            Some(Stamp::Clock) => (None, Some(Remark::NoDate)),
            None => (None, None),
        };
        Self { place, time, gateway: prefix::gateway(before), lacks }
    }

    /// Returns the envelope of what is in a format of its own.
    fn envelope(&self, found: HowFound) -> Envelope {
        let Self { place, time, gateway, .. } = *self;
        Envelope { time, gateway, found, ..Envelope::at(place) }
    }

    /// Returns the envelope of what was guessed, with its time and its gateway.
    fn with(&self, time: Option<Timestamp>, gateway: Option<Eui64>) -> Envelope {
        Envelope { time, gateway, ..self.envelope(HowFound::Guessed) }
    }

    /// Says once a line what its time is worth.
    fn note(&self, events: &mut [Event]) {
        if let (Some(event), Some(remark)) = (events.first_mut(), &self.lacks) {
            let (within, member) = (Within::Line, "time");
            event.notes.push(Note { within, member, remark: remark.clone() });
        }
    }
}

/// Datagrams that need no JSON, by the protocol's words for them.
fn wordless(text: &str) -> Option<What> {
    Some(match prefix::kind(text)? {
        DatagramKind::PushAck => What::Acknowledged(Leg::Push),
        DatagramKind::PullAck => What::Acknowledged(Leg::Pull),
        DatagramKind::PullData => What::Asked(Leg::Pull),
        DatagramKind::TxAck => {
            let outcome = Outcome { error: prefix::tx_ack(text)?, ..Outcome::default() };
            What::Outcome(Box::new(outcome))
        }
        DatagramKind::PushData | DatagramKind::PullResp => return None,
    })
}

fn heard(hit: Hit, head: &Head, out: &mut Vec<Event>) {
    let Hit { frame, beside, mut receptions, said } = hit;
    if receptions.is_empty() {
        receptions.push(Facts::default());
    }
    for mut own in receptions {
        own.or(&beside);
        let what = Heard {
            tmst: own.tmst(),
            tmms: own.gps_ms,
            time: own.time,
            freq_hz: own.freq_hz,
            modulation: own.modulation(),
            coding_rate: own.coding_rate.clone(),
            rssi: own.rssi,
            snr: own.snr,
            crc: own.crc.unwrap_or_default(),
            ..Heard::of(frame.clone())
        };
        let (time, gateway) = (head.time.or(said).or(own.time), own.gateway.or(head.gateway));
        out.push(head.with(time, gateway).event(What::Heard(Box::new(what))));
    }
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

/// Returns the JSON at the beginning of a line behind which nothing but closing brackets stand.
pub(super) fn before_brackets(text: &str) -> Option<&str> {
    let mut values = serde_json::Deserializer::from_str(short(text)?).into_iter::<Value>();
    values.next()?.ok()?;
    let (json, rest) = text.split_at_checked(values.byte_offset())?;
    rest.chars()
        .all(|c| matches!(c, '}' | ']' | ')' | ',' | ';') || c.is_whitespace())
        .then_some(json)
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
/// Characters of a line of words, and addresses, that are kept.
const MOST_BEFORE: usize = 256;
const MOST_ADDRESSES: usize = 1_024;
/// Downlinks whose fate is waited for.
const MOST_SENT: usize = 4_096;
