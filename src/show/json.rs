//! JSON: one object a line, members as the contract names them.

mod diagnosis;
mod key_sheet;
mod reading;

pub use diagnosis::diagnosis;
pub use key_sheet::key_sheet;
pub use reading::reading;

use std::fmt;

/// The number that a renamed or removed member would raise.
const SCHEMA: u32 = 1;

/// Writes a value as one line.
fn line(out: &mut dyn fmt::Write, value: &impl serde::Serialize) -> fmt::Result {
    let text = serde_json::to_string(value).map_err(|_| fmt::Error)?;
    writeln!(out, "{text}")
}
