//! The frames of a node, octet by octet, as the keys at hand read them.

use std::ops::Range;

use super::{Subject, data, words};
use crate::{
    frame::{Field, Frame, MacVersion, OpenedJoinAccept, decode},
    octet_rows::{Row, Shown, bit_rows, value_and_note},
    reading::{Context, CounterHint, KeyRing, MicVerdict, Reading, Sessions, Source},
    trace::Attempt,
    words::{Count, sentence},
};

/// A frame, ready to be laid out.
#[derive(Debug)]
pub(crate) struct FrameView {
    pub(crate) title: String,
    pub(crate) place: String,
    pub(crate) tone: Tone,
    pub(crate) mic: String,
    /// As sent, and a Join-Accept also as the node decrypts it.
    pub(crate) parts: Vec<FrameOctets>,
    pub(crate) problems: Vec<String>,
}

/// Whether a MIC holds.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(crate) enum Tone {
    Good,
    Bad,
    Open,
}

/// Octets and the fields they make.
#[derive(Debug)]
pub(crate) struct FrameOctets {
    pub(crate) label: &'static str,
    /// `None` where an octet is of a key.
    pub(crate) all: Vec<Option<u8>>,
    pub(crate) fields: Vec<FieldView>,
}

/// One field.
#[derive(Debug)]
pub(crate) struct FieldView {
    pub(crate) at: Range<usize>,
    pub(crate) name: &'static str,
    pub(crate) value: String,
    pub(crate) meaning: String,
    /// Where it is an octet made of bits.
    pub(crate) bits: Vec<BitsView>,
}

/// Some bits of an octet.
#[derive(Debug)]
pub(crate) struct BitsView {
    /// `bits 7-5`.
    pub(crate) place: String,
    pub(crate) name: String,
    /// `000`.
    pub(crate) digits: String,
    pub(crate) meaning: String,
}

/// Returns the frames worth a close look, in order, and how many are left out.
pub(super) fn all(subject: Subject<'_>, ring: &KeyRing) -> (Vec<FrameView>, usize) {
    let mut reader = FrameReader { subject, ring, memory: Sessions::default(), views: Vec::new() };
    let node = subject.node;
    let told = subject.diagnosis.told;
    let last = node.attempts.len().saturating_sub(1);
    for (i, attempt) in node.attempts.iter().enumerate() {
        let shown = Some(i) == told || i == last;
        // The other joins are read for the sessions that they make.
        if shown || !attempt.answers.is_empty() {
            reader.attempt(attempt, shown);
        }
    }
    let mut held = 0usize;
    let mut open = 0usize;
    for seen in data::of(node) {
        let count = if seen.holds { &mut held } else { &mut open };
        *count += 1;
        if *count <= MOST_DATA {
            reader.data(&seen);
        }
    }
    for heard in node.misshapen.iter().take(MOST_DATA) {
        let place = words::place(heard.first().line, heard.at());
        reader.view(&heard.octets, place, &Context::default());
    }
    let answers: usize = node.attempts.iter().map(|attempt| attempt.answers.len()).sum();
    let total = node.attempts.total()
        + answers
        + node.data_frames()
        + node.unverified.total()
        + node.misshapen.total();
    let left_out = total.saturating_sub(reader.views.len());
    (reader.views, left_out)
}

struct FrameReader<'a> {
    subject: Subject<'a>,
    ring: &'a KeyRing,
    memory: Sessions,
    views: Vec<FrameView>,
}

impl FrameReader<'_> {
    fn attempt(&mut self, attempt: &Attempt, shown: bool) {
        let place = words::place(attempt.line(), attempt.heard.at());
        let mac_version = self.version();
        let of_node = Context { mac_version, ..Context::default() };
        let before = self.views.len();
        self.view(&attempt.heard.octets, place, &of_node);
        let context = Context {
            dev_nonce: attempt.ask.nonce(),
            dev_eui: attempt.ask.dev_eui().or(self.subject.node.dev_eui),
            join_eui: attempt.ask.join_eui().or(self.subject.node.join_eui),
            ..of_node
        };
        for answer in attempt.answers.iter().take(MOST_ANSWERS) {
            let sending = &answer.sending;
            self.view(&sending.octets, words::place(sending.line, sending.at), &context);
        }
        if !shown {
            self.views.truncate(before);
        }
    }

    fn data(&mut self, seen: &data::Seen<'_>) {
        let context = Context {
            mac_version: self.version(),
            fcnt: seen.fcnt.map(CounterHint),
            ..Context::default()
        };
        let place = words::place(seen.data.line(), seen.data.at());
        self.view(seen.octets(), place, &context);
        // The trace knows more sessions than one frame can tell of, and has the last word.
        let Some(view) = self.views.last_mut() else { return };
        match (seen.holds, view.tone) {
            (true, Tone::Bad | Tone::Open) => {
                view.tone = Tone::Good;
                view.mic = "MIC holds under the keys of the session".into();
            }
            (false, Tone::Open) if seen.has_session => {
                view.tone = Tone::Bad;
                view.mic = "MIC fails under all session keys that the keys at hand make".into();
            }
            _ => {}
        }
    }

    fn version(&self) -> Option<MacVersion> {
        let entry = self.subject.entry?;
        let of = |claim: &Option<crate::roster::Claim>| claim.as_ref()?.mac_version;
        of(&entry.firmware).or_else(|| of(&entry.record))
    }

    fn view(&mut self, octets: &[u8], place: String, context: &Context) {
        let reading = self.memory.read(decode(octets), self.ring, context);
        self.views.push(view(&reading, place));
    }
}

fn view(reading: &Reading, place: String) -> FrameView {
    let decoded = &reading.decoded;
    let message = decoded.mhdr().map_or("nothing", |mhdr| mhdr.ftype().title());
    let (tone, mic) = mic(&reading.found.mic);
    let mut parts = vec![sent(reading)];
    if let Some(opened) = &reading.found.accept {
        parts.push(decrypted(reading, &opened.accept));
    }
    let problems = reading
        .problems
        .iter()
        .map(|p| sentence(&format!("byte {}, {}: {}", p.offset, p.field, p.what)));
    FrameView {
        title: format!("{}, {}", capital(message), Count(decoded.octets.len(), "byte")),
        place,
        tone,
        mic,
        parts,
        problems: problems.collect(),
    }
}

fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().into_iter().flat_map(char::to_uppercase).chain(chars).collect()
}

fn mic(verdict: &MicVerdict) -> (Tone, String) {
    match verdict {
        MicVerdict::Holds(proof) => {
            let rule = proof.rule.map(|r| format!(" by the {} rule", r.name()));
            let under = under(proof.key, &proof.source);
            (Tone::Good, format!("MIC holds under {under}{}", rule.unwrap_or_default()))
        }
        MicVerdict::Fails(tried) => {
            let words = tried
                .first()
                .map(|t| format!(" under {}: it would be {}", under(t.key, &t.source), t.expected));
            (Tone::Bad, format!("MIC fails{}", words.unwrap_or_default()))
        }
        MicVerdict::Unchecked(why) => (Tone::Open, format!("MIC not checked: {why}")),
    }
}

fn under(key: &str, source: &Source) -> String {
    let whose = source.to_string();
    if whose.is_empty() { key.to_owned() } else { format!("{key}, {whose}") }
}

/// The octets as they were on the air.
fn sent(reading: &Reading) -> FrameOctets {
    let decoded = &reading.decoded;
    let mut fields: Vec<FieldView> = decoded
        .fields()
        .iter()
        .map(|f| field(reading, f.value, f.at.clone(), &decoded.octets))
        .collect();
    if let Some(stopped) = &decoded.stopped {
        let at = stopped.offset()..decoded.octets.len();
        if !at.is_empty() {
            let meaning = format!("{} begins here and is incomplete", stopped.field());
            let value = String::new();
            fields.push(FieldView { at, name: "?", value, meaning, bits: Vec::new() });
        }
    }
    let mut octets: Vec<Option<u8>> = decoded.octets.iter().copied().map(Some).collect();
    if let Some(at) = key_in_clear(reading) {
        octets.iter_mut().take(at.end).skip(at.start).for_each(|octet| *octet = None);
    }
    FrameOctets { label: "as sent", all: octets, fields }
}

/// The FOpts that carry a key in clear: the one field on the air that may.
fn key_in_clear(reading: &Reading) -> Option<Range<usize>> {
    let list = reading.found.commands.as_ref().filter(|list| list.holds_a_key())?;
    let encrypted = reading.found.fopts.as_ref().is_some_and(|fopts| fopts.rule.is_some());
    let at = reading.decoded.fields().place_of(Field::FOpts)?;
    (list.field == Field::FOpts && !encrypted).then_some(at)
}

fn decrypted(reading: &Reading, opened: &OpenedJoinAccept) -> FrameOctets {
    FrameOctets {
        label: "as the node decrypts it",
        all: opened.octets.iter().copied().map(Some).collect(),
        fields: opened
            .fields
            .iter()
            .map(|f| field(reading, f.value, f.at.clone(), &opened.octets))
            .collect(),
    }
}

fn field(reading: &Reading, field: Field, at: Range<usize>, octets: &[u8]) -> FieldView {
    let octets = octets.get(at.clone()).unwrap_or_default();
    let (value, note) = match field {
        Field::Mic => (spaced(octets), String::new()),
        _ => value_and_note(reading, field, octets),
    };
    let mut meaning = match field {
        Field::FrmPayload => format!("the payload, {note}"),
        // The note of these says no more than the meaning.
        Field::JoinNonce | Field::RxDelay | Field::RjCount0 | Field::RjCount1 => {
            field.meaning().to_owned()
        }
        Field::FCnt if reading.found.fcnt32.is_none() => field.meaning().to_owned(),
        _ if note.is_empty() || field.meaning().contains(&note) => field.meaning().to_owned(),
        _ => format!("{}; {note}", field.meaning()),
    };
    if field == Field::FOpts || (field == Field::FrmPayload && is_port_0(reading)) {
        meaning.push_str(&command_names(reading, field));
    }
    let bits = bits(bit_rows(field, octets, reading.direction));
    FieldView { at, name: field.name(), value, meaning, bits }
}

fn bits(rows: Vec<Row>) -> Vec<BitsView> {
    let mut views = Vec::new();
    for Row { shown, name, value, note, .. } in rows {
        let Shown::Bits(runs) = shown else { continue };
        let meaning = if value.is_empty() { note } else { format!("{value}; {note}") };
        views.extend(runs.iter().map(|run| BitsView {
            place: run.place(),
            name: name.clone(),
            digits: run.digits(),
            meaning: meaning.clone(),
        }));
    }
    views
}

fn is_port_0(reading: &Reading) -> bool {
    matches!(&reading.decoded.frame, Some(Frame::Data(data)) if data.port() == Some(0))
}

fn command_names(reading: &Reading, field: Field) -> String {
    let Some(list) = reading.found.commands.as_ref().filter(|l| l.certain && l.field == field)
    else {
        return String::new();
    };
    let names: Vec<&str> = list.commands.commands.iter().map(|c| c.row.name).collect();
    if names.is_empty() { String::new() } else { format!(": {}", names.join(", ")) }
}

fn spaced(octets: &[u8]) -> String {
    octets.iter().map(|octet| format!("{octet:02X}")).collect::<Vec<_>>().join(" ")
}

/// Data frames of each kind that are shown.
const MOST_DATA: usize = 3;
/// Answers to one request that are shown.
const MOST_ANSWERS: usize = 2;
