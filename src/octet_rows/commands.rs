//! MAC commands: one row for the CID, one for each field of the payload, named by its bits where it is
//! made of bits.

use super::{Row, Shown, bits};
use crate::{
    frame::command::{Command, Field, FieldValue, Trailing, Why},
    reading::CommandList,
};

/// Names longer than the column of names stand in front of the value.
const NAME_WIDTH: usize = 12;

/// Returns the rows of a list of commands.
pub(super) fn rows(list: &CommandList) -> Vec<Row> {
    let mut rows = Vec::new();
    for command in &list.commands.commands {
        let at = list.at + command.at.start;
        rows.push(cid(at, command));
        payload(at + 1, command, &mut rows);
    }
    rows.extend(list.commands.trailing.as_ref().map(|trailing| rest(list.at, trailing)));
    rows
}

fn cid(at: usize, command: &Command) -> Row {
    let doubt = command.row.doubt.map(|doubt| format!(" (uncertain: {doubt})"));
    Row {
        at: Some(at..at + 1),
        name: "CID".into(),
        value: command.name().to_owned(),
        note: format!("{}{}", command.row.what, doubt.unwrap_or_default()),
        source: command.row.source.replace("LoRaWAN 1.1", "1.1"),
        ..Row::of(vec![command.cid()])
    }
}

fn payload(at: usize, command: &Command, rows: &mut Vec<Row>) {
    let payload = command.payload();
    let known = command.row.known_bits();
    let mut group = None;
    for field in &command.fields {
        let spec = field.spec;
        let from = usize::from(spec.at);
        let to = if spec.width == 0 { payload.len() } else { from + usize::from(spec.width) };
        let octets = payload.get(from..to).unwrap_or_default();
        let is_part = spec.is_bits() && usize::from(spec.hi - spec.lo) + 1 < 8 * octets.len();
        if is_part && group != Some(spec.at) {
            group = Some(spec.at);
            rows.push(Row { at: Some(at + from..at + to), ..Row::of(octets.to_vec()) });
            rows.extend(turned(octets));
            rows.extend(rfu(octets, known.get(from..to).unwrap_or_default()));
        }
        if is_part {
            let shown = bits::of((spec.hi, spec.lo), number(octets));
            rows.push(told(field, Row { shown, ..Row::default() }));
            continue;
        }
        let hidden = matches!(field.value, FieldValue::Key(_));
        let sent = if hidden { Vec::new() } else { octets.to_vec() };
        rows.push(told(field, Row { at: Some(at + from..at + to), ..Row::of(sent) }));
        if let FieldValue::Mask(_) = field.value {
            let shown = bits::of((spec.hi, spec.lo), number(octets));
            rows.push(Row { shown, ..Row::default() });
        } else if spec.is_bits() {
            rows.extend(turned(octets));
        }
    }
}

fn told(field: &Field, row: Row) -> Row {
    let note = match (&field.value, field.spec.refusal) {
        (FieldValue::Flag(true), Some(_)) => "agrees".to_owned(),
        (FieldValue::Flag(false), Some(refusal)) => refusal.meaning.to_owned(),
        _ => field.meaning().unwrap_or_default(),
    };
    let value = match &field.value {
        // The bit and its note say it.
        FieldValue::Flag(_) if !note.is_empty() => String::new(),
        FieldValue::Flag(set) => u8::from(*set).to_string(),
        value => value.to_string(),
    };
    let name = field.name();
    if name.len() > NAME_WIDTH {
        let value = format!("{name} {value}").trim_end().to_owned();
        return Row { value, note, ..row };
    }
    Row { name: name.to_owned(), value, note, ..row }
}

/// Several octets of one number, as people write them.
fn turned(octets: &[u8]) -> Option<Row> {
    let shown = Shown::Octets(octets.iter().rev().copied().collect());
    (octets.len() > 1).then(|| Row { shown, name: "written".into(), ..Row::default() })
}

/// Bits that no field covers.
fn rfu(octets: &[u8], known: &[u8]) -> Option<Row> {
    let (whole, known) = (number(octets), number(known));
    let width = u8::try_from(8 * octets.len()).ok()?;
    let is_rfu = |bit| known >> bit & 1 == 0;
    let runs = bits::those(width, is_rfu, whole);
    (!runs.is_empty()).then(|| Row {
        shown: Shown::Bits(runs),
        name: "RFU".into(),
        ..Row::default()
    })
}

fn number(octets: &[u8]) -> u64 {
    octets.iter().take(8).rev().fold(0, |whole, octet| whole << 8 | u64::from(*octet))
}

/// What could not be split.
fn rest(at: usize, trailing: &Trailing) -> Row {
    let secret = matches!(trailing.why, Why::Cut { row, .. } if row.holds_a_key());
    let octets = if secret { vec![trailing.cid] } else { trailing.octets.clone() };
    Row {
        at: Some(at + trailing.at.start..at + trailing.at.end),
        name: "?".into(),
        note: trailing.to_string(),
        ..Row::of(octets)
    }
}
