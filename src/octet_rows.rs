//! A frame laid out octet by octet: each field as sent and as written, what it says, and where the
//! standard says so. Each bit field names its bits, encrypted parts stand before and after.
//!
//! These are rows and words, no layout: a screen makes columns of them, a page makes a table.
//!
//! | file | what it owns |
//! |------|--------------|
//! | `fields` | what the octets of a field say, and in a few words what that means |
//! | `bits` | the octets that are made of bits: MHDR, FCtrl, DLSettings, RxDelay |
//! | `cf_list`, `commands` | the parts of a CFList, of MAC commands |
//! | `source` | where the standard lays a field down |

mod bits;
mod cf_list;
mod commands;
mod fields;
mod source;

use std::ops::Range;

pub use bits::Bits;
pub(crate) use fields::{count, value_and_note};

use crate::{
    crypto::block::FOptsRule,
    frame::{Direction, Field, Frame, Mhdr, OpenedJoinAccept},
    reading::{CommandList, MicVerdict, Opened, Reading, Source, Tried},
};

/// Failed keys that are listed one by one.
const TRIED_SHOWN: usize = 4;

/// One line of the layout.
#[derive(Clone, Debug, Eq, PartialEq)]
pub enum Item {
    /// Octets or bits, and what they say.
    Row(Row),
    /// Words between the rows: what follows is another view of the octets above.
    Words(String),
}

/// Some octets or bits, and what they say.
#[derive(Clone, Debug, Default, Eq, PartialEq)]
pub struct Row {
    /// The octets of the PHYPayload, counted from 0; none where the row belongs to the one above.
    pub at: Option<Range<usize>>,
    /// The octets or bits themselves.
    pub shown: Shown,
    /// The name of the field, as the standard spells it.
    pub name: String,
    /// Its value, as people write it.
    pub value: String,
    /// What the value means.
    pub note: String,
    /// Where the standard says so: TS001-1.0.4 by page, LoRaWAN 1.1 by section.
    pub source: String,
    /// Whether it is good or bad news.
    pub state: State,
}

/// What stands in the column of octets.
#[derive(Clone, Debug, Eq, PartialEq)]
pub enum Shown {
    /// Octets.
    Octets(Vec<u8>),
    /// Bits, one run of neighbours a line.
    Bits(Vec<Bits>),
}

impl Default for Shown {
    fn default() -> Self {
        Self::Octets(Vec::new())
    }
}

/// Whether a row is good or bad news.
#[derive(Clone, Copy, Debug, Default, Eq, PartialEq)]
pub enum State {
    /// Neither.
    #[default]
    Plain,
    /// It holds.
    Good,
    /// It is wrong.
    Bad,
    /// It cannot be told.
    Open,
}

/// Returns the rows of a frame, in the order of its octets.
///
/// ```
/// use handfast::{frame::decode, octet_rows::{Item, rows}, reading::{Context, KeyRing, read}};
///
/// let reading = read(decode(&[0x40]), &KeyRing::default(), &Context::default());
/// let Item::Row(mhdr) = &rows(&reading)[0] else { panic!("MHDR comes first") };
/// assert_eq!((mhdr.name.as_str(), mhdr.value.as_str()), ("MHDR", "unconfirmed data up"));
/// ```
pub fn rows(reading: &Reading) -> Vec<Item> {
    let (decoded, found) = (&reading.decoded, &reading.found);
    let mut rows = Rows { reading, items: Vec::new(), turned: false };
    for field in &decoded.fields() {
        let octets = decoded.octets.get(field.at.clone()).unwrap_or_default();
        rows.field(field.value, field.at.clone(), octets);
        match field.value {
            Field::FOpts => {
                rows.extend(clear_fopts(reading));
                rows.commands(Field::FOpts);
            }
            Field::FrmPayload => {
                rows.extend(clear_payload(reading));
                rows.commands(Field::FrmPayload);
                rows.extend(found.package.iter().flat_map(commands::rows));
            }
            Field::Mic => rows.extend(expected_rows(&found.mic)),
            _ => {}
        }
    }
    rows.rest();
    match &found.accept {
        Some(opened) => rows.opened(opened),
        None if matches!(decoded.frame, Some(Frame::JoinAccept(_))) => {
            rows.extend(sealed_mic(&found.mic));
        }
        None => {}
    }
    rows.items
}

struct Rows<'a> {
    reading: &'a Reading,
    items: Vec<Item>,
    /// Whether it was said that fields travel reversed.
    turned: bool,
}

impl Rows<'_> {
    fn extend(&mut self, rows: impl IntoIterator<Item = Row>) {
        self.items.extend(rows.into_iter().map(Item::Row));
    }

    fn field(&mut self, field: Field, at: Range<usize>, octets: &[u8]) {
        let mut row = field_row(self.reading, field, at.clone(), octets);
        let turned = source::is_reversed(field).then(|| self.written(octets));
        let parts = match field {
            Field::CfList => cf_list::parts(at.start, octets),
            _ => bit_rows(field, octets, self.reading.direction),
        };
        if matches!(field, Field::FCtrl | Field::DlSettings) {
            // The bits below say it.
            (row.value, row.note) = (String::new(), field.meaning().to_owned());
        }
        self.extend([row]);
        self.extend(turned);
        self.extend(parts);
    }

    /// The octets of a field turned round, as people write it.
    fn written(&mut self, octets: &[u8]) -> Row {
        let note = if self.turned { "" } else { "sent last byte first" };
        self.turned = true;
        let name = "written".to_owned();
        Row { name, note: note.into(), ..Row::of(octets.iter().rev().copied().collect()) }
    }

    fn commands(&mut self, field: Field) {
        let list = self.reading.found.commands.as_ref();
        if let Some(list) = list.filter(|list| list.field == field) {
            self.extend(commands::rows(list));
        }
    }

    /// What comes after the octet at which reading stopped.
    fn rest(&mut self) {
        let decoded = &self.reading.decoded;
        let Some(stopped) = &decoded.stopped else { return };
        let at = stopped.offset()..decoded.octets.len();
        if at.is_empty() {
            return;
        }
        let octets = decoded.octets.get(at.clone()).unwrap_or_default();
        let note = match stopped.field() {
            Field::Sealed => "the encrypted part begins here and is incomplete".into(),
            field => format!("{field} begins here and is incomplete"),
        };
        let row = Row { at: Some(at), name: "?".into(), note, ..Row::of(octets.to_vec()) };
        self.extend([row]);
    }

    /// A Join-Accept in clear.
    fn opened(&mut self, opened: &Opened) {
        let OpenedJoinAccept { octets, fields, .. } = &opened.accept;
        let key = opened.key;
        self.items.push(Item::Words(format!(
            "Turned round under {key}: each 16 bytes after MHDR encrypted once more, since the \
             server sealed them by decrypting. The same bytes in clear:"
        )));
        for field in fields.iter().filter(|f| f.value != Field::Mhdr) {
            let octets = octets.get(field.at.clone()).unwrap_or_default();
            self.field(field.value, field.at.clone(), octets);
        }
    }
}

impl Row {
    fn of(octets: Vec<u8>) -> Self {
        Self { shown: Shown::Octets(octets), ..Self::default() }
    }
}

fn field_row(reading: &Reading, field: Field, at: Range<usize>, octets: &[u8]) -> Row {
    let (value, note) = value_and_note(reading, field, octets);
    let ftype = reading.decoded.mhdr().map(Mhdr::ftype);
    let mut row = Row {
        at: Some(at),
        name: field.name().to_owned(),
        value,
        note,
        source: source::of(field, ftype).to_owned(),
        ..Row::of(octets.to_vec())
    };
    if field == Field::Mic {
        mic_words(&mut row, &reading.found.mic);
    }
    row
}

fn mic_words(row: &mut Row, verdict: &MicVerdict) {
    let (value, state, note) = match verdict {
        MicVerdict::Holds(proof) => {
            let rule = match proof.rule {
                Some(rule) => format!(", rule of LoRaWAN {}", rule.name()),
                None => String::new(),
            };
            ("holds", State::Good, format!("{}{rule}", under(proof.key, &proof.source)))
        }
        MicVerdict::Fails(tried) => {
            let half = tried.iter().any(|t| t.forwarding_half);
            let near = tried.iter().any(|t| t.near_only);
            let note = match (half, near) {
                (true, _) => "the half that FNwkSIntKey signs agrees",
                (_, true) => {
                    "with the counters near the last one; others were not tried, too many frames \
                     failed before: --fcnt tries one"
                }
                _ => "",
            };
            ("FAILS", State::Bad, note.to_owned())
        }
        MicVerdict::Unchecked(why) => ("unchecked", State::Open, why.to_string()),
    };
    value.clone_into(&mut row.value);
    row.state = state;
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
        name: "expected".into(),
        note: under(tried.key, &tried.source),
        ..Row::of(tried.expected.0.to_vec())
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
            name: Field::Mic.name().into(),
            value: "FAILS".into(),
            state: State::Bad,
            note: format!("as decrypted {}", under(one.key, &one.source)),
            ..Row::of(one.received.0.to_vec())
        });
        rows.push(Row { note: String::new(), ..expected_row(one) });
    }
    rows.extend(more(tried));
    rows
}

/// The rows of a field that is one octet made of bits; none for other fields.
pub(crate) fn bit_rows(field: Field, octets: &[u8], direction: Option<Direction>) -> Vec<Row> {
    let Some(&first) = octets.first() else { return Vec::new() };
    match field {
        Field::Mhdr => bits::mhdr(first),
        Field::FCtrl => bits::fctrl(first, direction),
        Field::DlSettings => bits::dl_settings(first),
        Field::RxDelay => bits::rx_delay(first),
        _ => Vec::new(),
    }
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
    Some(Row { name: "in clear".into(), note: rule.into(), ..Row::of(fopts.octets.clone()) })
}

fn clear_payload(reading: &Reading) -> Option<Row> {
    let plain = reading.found.payload.as_ref().filter(|_| !hidden(reading))?;
    let printable = plain.octets.iter().all(|o| matches!(o, b' '..=b'~'));
    let text = String::from_utf8_lossy(&plain.octets);
    let doubt = if plain.proven { "" } else { ", unproven: may be noise" };
    Some(Row {
        name: "in clear".into(),
        value: if printable { format!("{text:?}") } else { String::new() },
        note: format!("under {}{doubt}", plain.key),
        ..Row::of(plain.octets.clone())
    })
}
