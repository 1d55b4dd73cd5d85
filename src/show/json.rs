//! JSON: one object a line, members as the contract names them.

mod command;
mod diagnosis;
mod holdings;
mod key_sheet;
mod reading;
mod working;

pub use command::{command, command_from, commands};
pub use diagnosis::{diagnosis, diagnosis_worked, gateway};
pub use holdings::holdings;
pub use key_sheet::{key_sheet, key_sheet_worked};
pub use reading::{reading, reading_worked};

use std::fmt::{self, Write as _};

use serde::Serialize;

use super::Secrets;
use crate::{words::is_hidden, working::Sheet};

/// The number that a renamed or removed member would raise.
pub(crate) const SCHEMA: u32 = 2;

/// Writes a value as one line.
pub(super) fn line(out: &mut dyn fmt::Write, value: &impl Serialize) -> fmt::Result {
    writeln!(out, "{}", object(value)?)
}

/// Returns a value as JSON whose text moves no cursor and hides nothing: what JSON may leave as it is, and a
/// screen must not show as it is, is escaped, too (RFC 8259, section 7).
pub(super) fn object(value: &impl Serialize) -> Result<String, fmt::Error> {
    let text = serde_json::to_string(value).map_err(|_| fmt::Error)?;
    if !text.contains(is_hidden) {
        return Ok(text);
    }
    // Between texts there is nothing hidden: what is found is in one.
    let mut out = String::with_capacity(text.len() + 8);
    for c in text.chars() {
        if !is_hidden(c) {
            out.push(c);
            continue;
        }
        for unit in c.encode_utf16(&mut [0; 2]) {
            write!(out, "\\u{unit:04x}")?;
        }
    }
    Ok(out)
}

/// An object and the member that shows how it was computed.
#[derive(Serialize)]
struct Worked<'a, T> {
    #[serde(flatten)]
    object: T,
    working: Vec<working::SheetJson<'a>>,
}

/// Writes a value and its working as one line.
fn line_worked(
    out: &mut dyn fmt::Write,
    object: impl Serialize,
    sheets: &[Sheet],
    secrets: Secrets,
) -> fmt::Result {
    line(out, &Worked { object, working: working::sheets(sheets, secrets) })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_hidden_is_escaped_and_reads_back() {
        let text = "a\x7f\u{85}\u{202e}\u{2028}\u{e0041}\u{e4}\n";
        let json = object(&text).unwrap();
        assert_eq!(json, r#""a\u007f\u0085\u202e\u2028\udb40\udc41"#.to_owned() + "\u{e4}\\n\"");
        assert_eq!(serde_json::from_str::<String>(&json).unwrap(), text);
    }
}
