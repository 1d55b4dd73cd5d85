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

use std::fmt;

use serde::Serialize;

use super::Secrets;
use crate::working::Sheet;

/// The number that a renamed or removed member would raise.
pub(crate) const SCHEMA: u32 = 2;

/// Writes a value as one line.
fn line(out: &mut dyn fmt::Write, value: &impl Serialize) -> fmt::Result {
    let text = serde_json::to_string(value).map_err(|_| fmt::Error)?;
    writeln!(out, "{text}")
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
