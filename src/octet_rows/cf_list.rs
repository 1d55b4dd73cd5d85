//! The parts of a CFList: five frequencies, or six channel masks; in the last octet its type.

use super::{
    Row, Shown, bits,
    fields::{bits_of, runs},
};
use crate::{
    frame::{CfList, CfListType},
    region::Megahertz,
};

/// Returns one row or more for each part of a CFList that begins at that octet of the frame.
pub(super) fn parts(at: usize, octets: &[u8]) -> Vec<Row> {
    let Ok(list) = <[u8; 16]>::try_from(octets).map(CfList) else { return Vec::new() };
    let part = |from: usize, len: usize| Row {
        at: Some(at + from..at + from + len),
        ..Row::of(octets.get(from..from + len).unwrap_or_default().to_vec())
    };
    let mut rows = Vec::new();
    match list.kind() {
        CfListType::Frequencies => {
            for (i, hz) in list.frequencies().enumerate() {
                let (value, note) = match hz {
                    0 => ("not used".to_owned(), String::new()),
                    _ => (format!("{} MHz", Megahertz(hz)), format!("{} x 100 Hz", hz / 100)),
                };
                let name = if i == 0 { "channel N".into() } else { format!("channel N+{i}") };
                rows.push(Row { name, value, note, ..part(3 * i, 3) });
                rows.push(written(octets, 3 * i, 3));
            }
        }
        CfListType::Masks => {
            for (i, mask) in list.masks().enumerate() {
                let value = format!("{mask:04X}");
                let first = u16::try_from(16 * i).unwrap_or_default();
                let note = match runs(bits_of(first, mask)) {
                    none if none.is_empty() => format!("none of {first}-{}", first + 15),
                    some => format!("channels {some}"),
                };
                rows.push(Row { name: format!("ChMask{i}"), value, note, ..part(2 * i, 2) });
                let note = format!("channels {} to {first}", first + 15);
                let shown = bits::of((15, 0), mask.into());
                rows.push(Row { shown, note, ..Row::default() });
            }
            rows.push(Row { name: "RFU".into(), ..part(12, 3) });
        }
        CfListType::Rfu(_) => rows.push(Row { name: "RFU".into(), ..part(0, 15) }),
    }
    let (value, note) = match list.kind() {
        CfListType::Frequencies => ("0".to_owned(), "frequencies"),
        CfListType::Masks => ("1".to_owned(), "channel masks"),
        CfListType::Rfu(kind) => (kind.to_string(), "reserved"),
    };
    rows.push(Row { name: "CFListType".into(), value, note: note.into(), ..part(15, 1) });
    rows
}

fn written(octets: &[u8], from: usize, len: usize) -> Row {
    let part = octets.get(from..from + len).unwrap_or_default();
    let shown = Shown::Octets(part.iter().rev().copied().collect());
    Row { shown, name: "written".into(), ..Row::default() }
}
