//! Frames in JSON, at any depth, each with what stands beside it: nearest first, outwards after that.

use std::{collections::HashSet, ptr};

use jiff::Timestamp;
use serde_json::{Map, Value};

use super::{
    super::{
        header::DatagramKind,
        text::{base64_member, frame_text},
    },
    facts::Facts,
    likely::{self, Label, is_lawful_alone},
    words::{is_secret, meaning},
};
use crate::{
    frame::{Decoded, Direction, decode},
    id::Eui64,
};

/// What is found in a line.
#[derive(Debug)]
pub(super) enum Find {
    Frame(Box<Hit>),
    /// A message of the station protocol.
    Station(Map<String, Value>),
    /// A datagram of the forwarder protocol, as JSON, and what stands around it.
    Forwarder {
        json: String,
        at: Option<Timestamp>,
        gateway: Option<Eui64>,
    },
    Ack(Box<Ack>),
}

/// A frame.
#[derive(Debug)]
pub(super) struct Hit {
    pub(super) frame: Decoded,
    pub(super) beside: Facts,
    /// Where several gateways heard it: what each says.
    pub(super) receptions: Vec<Facts>,
    /// The outermost time: that of the line.
    pub(super) said: Option<Timestamp>,
}

impl Hit {
    /// What is taken for a frame has a type that goes one way.
    pub(super) fn direction(&self) -> Direction {
        let stated = self.frame.mhdr().and_then(|mhdr| mhdr.ftype().direction());
        stated.unwrap_or(Direction::Uplink)
    }
}

/// What became of the alternatives of a downlink.
#[derive(Debug)]
pub(super) struct Ack {
    pub(super) id: String,
    /// Which alternative, from 0, and the word for what became of it.
    pub(super) words: Vec<(usize, String)>,
    /// Whether there is a word for each alternative, as gateways report, and not one for all.
    pub(super) listed: bool,
    pub(super) beside: Facts,
    pub(super) said: Option<Timestamp>,
}

/// Finds everything in a value.
pub(super) fn walk(value: &Value) -> Vec<Find> {
    let mut walker = Walker { out: Vec::new(), receptions: 0 };
    walker.text(value, &Facts::default(), None, 0);
    walker.out
}

struct Walker {
    out: Vec<Find>,
    /// Receptions of all that was found.
    receptions: usize,
}

/// The objects and lists of one text inside which may be a frame, by where they stand.
type Holding = HashSet<usize>;

/// What stands around a value.
#[derive(Clone, Copy)]
struct Around<'a> {
    far: &'a Facts,
    said: Option<Timestamp>,
    /// JSON in a text in JSON: how often.
    texts: u8,
    holding: &'a Holding,
}

impl Walker {
    /// Walks through one text of JSON.
    fn text(&mut self, value: &Value, far: &Facts, said: Option<Timestamp>, texts: u8) {
        let mut holding = Holding::new();
        hold(value, &mut holding);
        self.value(value, Around { far, said, texts, holding: &holding });
    }

    fn value(&mut self, value: &Value, around: Around<'_>) {
        if self.out.len() >= MOST {
            return;
        }
        match value {
            Value::Object(map) => self.object(map, around),
            Value::Array(list) => list.iter().for_each(|v| self.value(v, around)),
            Value::String(text)
                if around.texts < MOST_TEXTS && text.trim_start().starts_with('{') =>
            {
                if let Ok(inner) = serde_json::from_str::<Value>(text) {
                    self.text(&inner, around.far, around.said, around.texts + 1);
                }
            }
            _ => {}
        }
    }

    fn object(&mut self, map: &Map<String, Value>, around: Around<'_>) {
        let Around { far, said, holding, .. } = around;
        if map.get("msgtype").is_some_and(Value::is_string) {
            return self.out.push(Find::Station(map.clone()));
        }
        if is_forwarder(map) {
            // What was read is written again: this cannot fail.
            let (at, gateway) = (said.or(far.time), far.gateway);
            let json = serde_json::to_string(map).ok();
            return self.out.extend(json.map(|json| Find::Forwarder { json, at, gateway }));
        }
        let mut near = Facts::default();
        scalars(map, &mut near);
        let said = said.or(near.time);
        let mut receptions = Vec::new();
        map.values().for_each(|v| gather(v, holding, DEEPEST, &mut near, &mut receptions));
        let id = near.id.clone();
        near.or(far);
        let found = self.out.len();
        self.frames(map, &near, &receptions, said);
        let around = Around { far: &near, said, ..around };
        for (_, inner) in map.iter().filter(|(name, _)| !is_secret(name)) {
            self.value(inner, around);
        }
        if self.out.len() == found
            && let Some(ack) = id.and_then(|id| ack(id, map, &near, said))
        {
            self.out.push(Find::Ack(Box::new(ack)));
        }
    }

    /// The frames that are members of this very object: the best named.
    fn frames(
        &mut self,
        map: &Map<String, Value>,
        near: &Facts,
        receptions: &[Facts],
        said: Option<Timestamp>,
    ) {
        // Where the radio's figures are each gateway's own they count as well.
        let mut all = near.clone();
        for reception in receptions {
            all.or(reception);
        }
        let mut hits: Vec<(Label, Decoded)> = Vec::new();
        for (name, value) in map {
            let label = Label::of(name);
            if label == Label::None {
                continue;
            }
            let Some(octets) = value.as_str().and_then(|text| octets(text, label)) else {
                continue;
            };
            let frame = likely::frame(&octets, label, &all);
            let new = frame.filter(|frame| hits.iter().all(|(_, known)| known != frame));
            hits.extend(new.map(|frame| (label, frame)));
            if hits.len() == MOST {
                break;
            }
        }
        let best = hits.iter().map(|(label, _)| *label).max();
        for (_, frame) in hits.into_iter().filter(|(label, _)| Some(*label) == best) {
            let left = MOST_RECEPTIONS.saturating_sub(self.receptions);
            let receptions: Vec<_> = receptions.iter().take(left).cloned().collect();
            self.receptions += receptions.len();
            let beside = near.clone();
            self.out.push(Find::Frame(Box::new(Hit { frame, beside, receptions, said })));
        }
    }
}

/// Reads octets written as hex or base64, which may be broken into words where it is no text.
fn octets(text: &str, label: Label) -> Option<Vec<u8>> {
    if !(SHORTEST..=LONGEST).contains(&text.len()) {
        return None;
    }
    let broken = || base64_member(text).ok().filter(|_| label == Label::Frame);
    frame_text(text).ok().map(|text| text.octets).or_else(|| Some(broken()?.0))
}

fn is_forwarder(map: &Map<String, Value>) -> bool {
    let object = |name: &str| map.get(name).and_then(Value::as_object);
    let counts = |stat: &Map<String, Value>| {
        ["rxnb", "rxok", "ackr", "dwnb"].iter().any(|name| stat.contains_key(*name))
    };
    let kind = map.get("kind").and_then(Value::as_str).and_then(DatagramKind::by_name);
    map.get("rxpk").is_some_and(Value::is_array)
        || object("txpk").is_some()
        || object("txpk_ack").is_some()
        || object("stat").is_some_and(counts)
        || kind.is_some()
}

fn scalars(map: &Map<String, Value>, facts: &mut Facts) {
    for (name, value) in map {
        if let Some(meaning) = meaning(name) {
            facts.take(meaning, value);
        }
    }
}

/// Takes what objects without a frame of their own say; lists of them are receptions.
fn gather(
    value: &Value,
    holding: &Holding,
    deeper: u8,
    near: &mut Facts,
    receptions: &mut Vec<Facts>,
) {
    let Some(deeper) = deeper.checked_sub(1).filter(|_| !holding.contains(&place(value))) else {
        return;
    };
    match value {
        Value::Object(map) => {
            scalars(map, near);
            map.values().for_each(|inner| gather(inner, holding, deeper, near, receptions));
        }
        Value::Array(list) => {
            for map in list.iter().filter_map(Value::as_object) {
                let mut own = Facts::default();
                scalars(map, &mut own);
                let inner = map.values();
                inner.for_each(|v| gather(v, holding, deeper, &mut own, &mut Vec::new()));
                if own.is_reception() && receptions.len() < MOST {
                    receptions.push(own);
                }
            }
        }
        _ => {}
    }
}

/// Returns what the members of an object say by themselves.
pub(super) fn beside(map: &Map<String, Value>) -> Facts {
    let mut facts = Facts::default();
    scalars(map, &mut facts);
    facts
}

/// Notes what may be a frame, or has one inside, and is not merely what stands beside one.
fn hold(value: &Value, holding: &mut Holding) -> bool {
    let holds = match value {
        // Each is looked at, whatever the one before it holds.
        Value::Object(map) => map.iter().fold(false, |holds, (name, inner)| {
            holds
                | match inner {
                    Value::String(text) => {
                        let label = Label::of(name);
                        label != Label::None
                            && octets(text, label).is_some_and(|o| is_lawful_alone(&decode(&o)))
                    }
                    other => hold(other, holding),
                }
        }),
        Value::Array(list) => list.iter().fold(false, |holds, inner| holds | hold(inner, holding)),
        _ => false,
    };
    if holds {
        holding.insert(place(value));
    }
    holds
}

fn place(value: &Value) -> usize {
    ptr::from_ref(value).addr()
}

/// An acknowledgement: a number by which it finds its downlink, and a word, or a list of words.
fn ack(id: String, map: &Map<String, Value>, near: &Facts, said: Option<Timestamp>) -> Option<Ack> {
    let listed = |value: &Value| -> Vec<(usize, String)> {
        let words = value.as_array().into_iter().flatten().enumerate();
        words
            .filter_map(|(place, item)| {
                let mut own = Facts::default();
                scalars(item.as_object()?, &mut own);
                Some((place, own.status?))
            })
            .take(MOST)
            .collect()
    };
    let (words, listed) = match map.values().map(listed).find(|words| !words.is_empty()) {
        Some(words) => (words, true),
        None => (vec![(0, near.status.clone()?)], false),
    };
    Some(Ack { id, words, listed, beside: near.clone(), said })
}

/// Finds in one line.
const MOST: usize = 64;
/// Receptions of all frames of one line.
const MOST_RECEPTIONS: usize = 256;
/// How deep below a frame what stands beside it is looked for: servers have three or four levels.
const DEEPEST: u8 = 8;
/// JSON in a text in JSON: container logs have two layers.
const MOST_TEXTS: u8 = 2;
/// Characters of a text that may be a frame: 12 octets in base64, 255 in hex with separators.
const SHORTEST: usize = 16;
const LONGEST: usize = 1_280;
