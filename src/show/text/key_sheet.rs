//! `keys`: one block a part, one line a key.

use std::fmt;

use super::{Tone, paragraph};
use crate::{
    key_sheet::{KeySheet, SheetValue},
    show::Style,
};

/// Writes the keys of a sheet in clear, for a user who asked to see them.
///
/// # Errors
/// When the writer fails.
pub fn key_sheet(out: &mut dyn fmt::Write, sheet: &KeySheet, style: Style) -> fmt::Result {
    for (i, part) in sheet.parts.iter().enumerate() {
        if i > 0 {
            writeln!(out)?;
        }
        writeln!(out, "{}", style.paint(Tone::Title, part.title))?;
        let values: Vec<_> = part
            .values
            .iter()
            .map(|(name, value)| match value {
                SheetValue::Number(number) => format!("{name} {number}"),
                SheetValue::Digits(digits) => format!("{name} {}", digits.to_uppercase()),
            })
            .collect();
        paragraph(out, style, "  from ", Tone::Quiet, &values.join(", "))?;
        let width = part.keys.iter().map(|(name, _)| name.len()).max().unwrap_or_default();
        for (name, key) in &part.keys {
            writeln!(out, "  {name:width$}  {}", key.revealed().to_uppercase())?;
        }
        paragraph(out, style, "  how  ", Tone::Quiet, part.rule)?;
    }
    Ok(())
}
