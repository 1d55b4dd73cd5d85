//! `read`: one block a frame, one row a field.
//!
//! | columns | octets from the start | octets as sent | field | value, then what it means |
//!
//! The rows are made first and laid out afterwards, so that every column is as wide as this frame
//! needs and no wider.

mod fields;
mod notes;

pub(crate) use fields::value_and_note;

use std::fmt;

use super::{Tone, paragraph, spaced, wrap};
use crate::{
    crypto::block::FOptsRule,
    frame::{Field, Frame},
    intake::Crc,
    reading::{CommandList, MicVerdict, Reading, Source, Tried},
    show::{Input, Radio, Style},
};

/// Octets in one line of a row.
const OCTETS_A_LINE: usize = 8;

/// Failed keys that are listed one by one.
const TRIED_SHOWN: usize = 4;

/// The name of a frame above its block.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Heading<'a> {
    /// The only frame there is needs no name.
    None,
    /// One of several.
    Of(Input<'a>),
}

/// One row: some octets and what they say.
#[derive(Default)]
struct Row {
    at: String,
    octets: Vec<u8>,
    name: String,
    value: String,
    tone: Option<Tone>,
    note: String,
}

/// Writes a frame and what keys tell of it.
///
/// # Errors
/// When the writer fails.
pub fn reading(
    out: &mut dyn fmt::Write,
    heading: Heading<'_>,
    reading: &Reading,
    style: Style,
) -> fmt::Result {
    title(out, heading, reading, style)?;
    let rows = rows(reading);
    let layout = Layout::of(&rows, style);
    for row in &rows {
        layout.write(out, row)?;
    }
    notes::write(out, reading, style)?;
    for problem in &reading.problems {
        let text = format!("octet {}, {}: {}", problem.offset, problem.field, problem.what);
        let (mark, tone) =
            if problem.is_remark() { ("  * ", Tone::Quiet) } else { ("  ! ", Tone::Bad) };
        paragraph(out, style, mark, tone, &text)?;
    }
    Ok(())
}

fn title(
    out: &mut dyn fmt::Write,
    heading: Heading<'_>,
    reading: &Reading,
    style: Style,
) -> fmt::Result {
    let decoded = &reading.decoded;
    let message = decoded.mhdr().map_or("nothing", |mhdr| mhdr.ftype().title());
    let mut parts = vec![capital(message)];
    // Data frames have their direction in the name, whole or cut.
    if !decoded.mhdr().is_some_and(|mhdr| mhdr.ftype().is_data()) {
        parts.extend(reading.direction.map(|way| way.name().to_owned()));
    }
    parts.extend(match &decoded.frame {
        Some(Frame::JoinRequest(request)) => Some(format!("DevEUI {}", request.dev_eui)),
        Some(Frame::RejoinRequest(request)) => {
            request.body.dev_eui().map(|dev_eui| format!("DevEUI {dev_eui}"))
        }
        Some(Frame::Data(data)) => Some(format!("DevAddr {}", data.dev_addr)),
        Some(Frame::JoinAccept(_) | Frame::Proprietary(_)) => None,
        None => Some("cut short".into()),
    });
    parts.push(fields::count(&decoded.octets));
    let text = match heading {
        Heading::None => parts.join(", "),
        Heading::Of(input) => format!("{input}: {}", parts.join(", ")),
    };
    for line in wrap(&text, style.width) {
        writeln!(out, "{}", style.paint(Tone::Title, &line))?;
    }
    match heading {
        Heading::Of(Input { radio: Some(radio), .. }) => {
            paragraph(out, style, "  ", Tone::Quiet, &radio_words(radio))
        }
        _ => Ok(()),
    }
}

/// What the gateway says, in one line: who, when, where on the dial, how well.
fn radio_words(radio: &Radio) -> String {
    let crc = match radio.crc {
        Crc::Bad => Some("CRC BAD: these are not the octets that were sent"),
        Crc::None => Some("no CRC"),
        Crc::Ok | Crc::Unknown => None,
    };
    let parts = [
        radio.gateway.map(|eui| format!("gateway {eui}")),
        radio.time.map(|time| time.to_string()),
        radio.frequency_hz.map(|hz| format!("{} MHz", fields::mhz(hz))),
        radio.data_rate.map(|rate| rate.to_string()),
        radio.rssi_dbm.map(|dbm| format!("RSSI {dbm} dBm")),
        radio.snr_db.map(|db| format!("SNR {db} dB")),
        radio.power_dbm.map(|dbm| format!("to be sent with {dbm} dBm")),
        crc.map(str::to_owned),
    ];
    parts.into_iter().flatten().collect::<Vec<_>>().join(", ")
}

fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().into_iter().flat_map(char::to_uppercase).chain(chars).collect()
}

fn range(at: &std::ops::Range<usize>) -> String {
    let last = at.end.saturating_sub(1);
    if last <= at.start { at.start.to_string() } else { format!("{}-{last}", at.start) }
}

fn rows(reading: &Reading) -> Vec<Row> {
    let (decoded, found) = (&reading.decoded, &reading.found);
    let mut rows = Vec::new();
    for field in &decoded.fields {
        let octets = decoded.octets.get(field.at.clone()).unwrap_or_default();
        rows.push(field_row(reading, field.value, range(&field.at), octets));
        match field.value {
            Field::FOpts => rows.extend(clear_fopts(reading)),
            Field::FrmPayload => rows.extend(clear_payload(reading)),
            Field::Mic => rows.extend(expected_rows(&found.mic)),
            _ => {}
        }
    }
    if let Some(stopped) = &decoded.stopped {
        let rest = stopped.offset()..decoded.octets.len();
        if !rest.is_empty() {
            let octets = decoded.octets.get(rest.clone()).unwrap_or_default();
            rows.push(Row {
                at: range(&rest),
                octets: octets.to_vec(),
                name: "?".into(),
                note: match stopped.field() {
                    Field::Sealed => "the encrypted part begins here and is not whole".into(),
                    field => format!("{field} begins here and is not whole"),
                },
                ..Row::default()
            });
        }
    }
    if let Some(opened) = &found.accept {
        for field in opened.accept.fields.iter().filter(|f| f.value != Field::Mhdr) {
            let octets = opened.accept.octets.get(field.at.clone()).unwrap_or_default();
            rows.push(field_row(reading, field.value, range(&field.at), octets));
        }
    } else if matches!(decoded.frame, Some(Frame::JoinAccept(_))) {
        rows.extend(sealed_mic(&found.mic));
    }
    rows
}

fn field_row(reading: &Reading, field: Field, at: String, octets: &[u8]) -> Row {
    let (value, note) = value_and_note(reading, field, octets);
    let mut row = Row {
        at,
        octets: octets.to_vec(),
        name: field.name().to_owned(),
        value,
        note,
        ..Row::default()
    };
    if field == Field::Mic {
        mic_words(&mut row, &reading.found.mic);
    }
    row
}

fn mic_words(row: &mut Row, verdict: &MicVerdict) {
    let (value, tone, note) = match verdict {
        MicVerdict::Holds(proof) => {
            let rule = match proof.rule {
                Some(rule) => format!(", rule of LoRaWAN {}", rule.name()),
                None => String::new(),
            };
            ("holds", Tone::Good, format!("{}{rule}", under(proof.key, &proof.source)))
        }
        MicVerdict::Fails(tried) => {
            let half = tried.iter().any(|t| t.forwarding_half);
            let note = if half { "the half that FNwkSIntKey signs agrees" } else { "" };
            ("FAILS", Tone::Bad, note.to_owned())
        }
        MicVerdict::Unchecked(why) => ("unchecked", Tone::Open, why.to_string()),
    };
    value.clone_into(&mut row.value);
    row.tone = Some(tone);
    row.note = note;
}

fn under(key: &str, source: &Source) -> String {
    let whose = source.to_string();
    if whose.is_empty() { format!("under {key}") } else { format!("under {key} ({whose})") }
}

/// What the MIC would be, beside what it is.
fn expected_rows(verdict: &MicVerdict) -> Vec<Row> {
    let MicVerdict::Fails(tried) = verdict else { return Vec::new() };
    let mut rows: Vec<_> = tried.iter().take(TRIED_SHOWN).map(expected_row).collect();
    rows.extend(more(tried));
    rows
}

fn expected_row(tried: &Tried) -> Row {
    Row {
        octets: tried.expected.0.to_vec(),
        name: "expected".into(),
        note: under(tried.key, &tried.source),
        ..Row::default()
    }
}

fn more(tried: &[Tried]) -> Option<Row> {
    let count = tried.len().checked_sub(TRIED_SHOWN).filter(|&n| n > 0)?;
    let note = format!("and under {count} more, none of which fits");
    Some(Row { note, ..Row::default() })
}

/// The MIC of a Join-Accept that nothing opened: where it is hidden, each key shows another.
fn sealed_mic(verdict: &MicVerdict) -> Vec<Row> {
    let MicVerdict::Fails(tried) = verdict else {
        let mut row = Row { name: Field::Mic.name().into(), ..Row::default() };
        mic_words(&mut row, verdict);
        return vec![row];
    };
    let mut rows = Vec::new();
    for one in tried.iter().take(TRIED_SHOWN) {
        rows.push(Row {
            octets: one.received.0.to_vec(),
            name: Field::Mic.name().into(),
            value: "FAILS".into(),
            tone: Some(Tone::Bad),
            note: format!("as decrypted {}", under(one.key, &one.source)),
            ..Row::default()
        });
        rows.push(Row { note: String::new(), ..expected_row(one) });
    }
    rows.extend(more(tried));
    rows
}

/// Octets that hold a key are not for the screen.
fn hidden(reading: &Reading) -> bool {
    reading.found.commands.as_ref().is_some_and(CommandList::holds_a_key)
}

fn clear_fopts(reading: &Reading) -> Option<Row> {
    let fopts = reading.found.fopts.as_ref().filter(|_| !hidden(reading))?;
    let rule = match fopts.rule? {
        FOptsRule::AsPublished => "under NwkSEncKey, by LoRaWAN 1.1 as first published",
        FOptsRule::Erratum | FOptsRule::ErratumAppCounter => {
            "under NwkSEncKey, with the erratum of 2018"
        }
    };
    Some(Row {
        octets: fopts.octets.clone(),
        name: "in clear".into(),
        note: rule.into(),
        ..Row::default()
    })
}

fn clear_payload(reading: &Reading) -> Option<Row> {
    let plain = reading.found.payload.as_ref().filter(|_| !hidden(reading))?;
    let printable = plain.octets.iter().all(|o| matches!(o, b' '..=b'~'));
    let text = String::from_utf8_lossy(&plain.octets);
    let doubt = if plain.proven { "" } else { ", unproven: may be noise" };
    Some(Row {
        octets: plain.octets.clone(),
        name: "in clear".into(),
        value: if printable { format!("{text:?}") } else { String::new() },
        note: format!("under {}{doubt}", plain.key),
        ..Row::default()
    })
}

/// The columns of one frame.
struct Layout {
    style: Style,
    at: usize,
    octets: usize,
    name: usize,
    text: usize,
}

impl Layout {
    fn of(rows: &[Row], style: Style) -> Self {
        let widest = |of: fn(&Row) -> usize| rows.iter().map(of).max().unwrap_or_default();
        let at = widest(|row| row.at.len());
        let octets = (widest(|row| row.octets.len()).min(OCTETS_A_LINE) * 3).saturating_sub(1);
        let name = widest(|row| row.name.len());
        let text = style.width.saturating_sub(2 + at + 2 + octets + 2 + name + 2);
        Self { style, at, octets, name, text }
    }

    fn write(&self, out: &mut dyn fmt::Write, row: &Row) -> fmt::Result {
        let octets: Vec<_> = row.octets.chunks(OCTETS_A_LINE).map(spaced).collect();
        let texts = self.texts(row);
        for i in 0..octets.len().max(texts.len()).max(1) {
            let (at, name) = if i == 0 { (row.at.as_str(), row.name.as_str()) } else { ("", "") };
            let octets = octets.get(i).map_or("", String::as_str);
            let left = format!(
                "  {at:>w0$}  {octets:w1$}  {name:w2$}  ",
                w0 = self.at,
                w1 = self.octets,
                w2 = self.name
            );
            match texts.get(i) {
                Some(text) => writeln!(out, "{left}{text}")?,
                None => writeln!(out, "{}", left.trim_end())?,
            }
        }
        Ok(())
    }

    /// Value and note in one line if they fit, else the note below.
    fn texts(&self, row: &Row) -> Vec<String> {
        let tone = row.tone.unwrap_or(Tone::Plain);
        let paint = |tone, text: &str| self.style.paint(tone, text).into_owned();
        let long = row.value.chars().count() + 2 + row.note.chars().count() > self.text;
        if row.value.is_empty() || row.note.is_empty() || long {
            let value = wrap(&row.value, self.text);
            let note = wrap(&row.note, self.text);
            let value = value.iter().map(|line| paint(tone, line));
            return value.chain(note.iter().map(|line| paint(Tone::Quiet, line))).collect();
        }
        vec![format!("{}  {}", paint(tone, &row.value), paint(Tone::Quiet, &row.note))]
    }
}
