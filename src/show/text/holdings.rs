//! What a capture holds that has no frame in it.

use std::fmt;

use super::Tone;
use crate::{intake::Holdings, show::Style};

/// Writes what a capture holds, by gateway and kind.
///
/// # Errors
/// Whatever the writer says.
pub fn holdings(holdings: &Holdings, style: Style, out: &mut dyn fmt::Write) -> fmt::Result {
    writeln!(out, "No frame is in it. It holds:")?;
    for (eui, kinds) in holdings.iter() {
        let name =
            eui.map_or_else(|| "No gateway named".to_owned(), |eui| format!("Gateway {eui}"));
        writeln!(out, "\n  {}", style.paint(Tone::Title, &name))?;
        for (kind, n) in kinds {
            writeln!(out, "    {:<14}{n:>7}", kind.name())?;
        }
    }
    Ok(())
}
