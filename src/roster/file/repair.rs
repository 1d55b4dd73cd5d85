//! Values that are no TOML, most often for want of quotes: each costs its own member alone.

use toml::de::DeTable;

use super::super::{
    error::{FaultKind, Position},
    secret::redacted,
};

/// A roster's text in which such values are replaced.
pub(super) struct Repaired {
    pub(super) text: String,
    /// The lines, from 1, and what was wrong with each.
    pub(super) faults: Vec<(usize, FaultKind)>,
}

/// Replaces every value that is no TOML by one that no member takes, so that the walk reports it under
/// its member's name. Returns nothing where more than values is wrong.
pub(super) fn values(text: &str) -> Option<Repaired> {
    if text.len() > LONGEST {
        return None;
    }
    let mut lines: Vec<String> = text.split('\n').map(str::to_owned).collect();
    let mut faults: Vec<(usize, FaultKind)> = Vec::new();
    while faults.len() <= MOST {
        let text = lines.join("\n");
        let (_, errors) = DeTable::parse_recoverable(&text);
        let Some(error) = errors.first() else { return Some(Repaired { text, faults }) };
        // Which of two members of one name is meant is open: no line can be left out.
        if error.message().contains("duplicate") {
            return None;
        }
        let number = Position::of(&text, error.span()?.start).line;
        if faults.iter().any(|(line, _)| *line == number) {
            return None;
        }
        let line = lines.get_mut(number.checked_sub(1)?)?;
        *line = format!("{}= {PLACEHOLDER}", name_of(line)?);
        faults.push((number, FaultKind::Syntax { message: redacted(error.message()) }));
    }
    None
}

/// Returns what is before the `=` of a line that gives a member its value.
fn name_of(line: &str) -> Option<&str> {
    let (name, _) = line.split_once('=')?;
    let bare = name.trim();
    let fits = |c: char| c.is_ascii_alphanumeric() || matches!(c, '-' | '_' | '.');
    (!bare.is_empty() && bare.chars().all(fits)).then_some(name)
}

/// A time of day: no member of a roster takes one.
const PLACEHOLDER: &str = "00:00:00";
/// Values repaired in one roster: each costs one more reading of the text.
const MOST: usize = 32;
/// Bytes of a text that is repaired: so long a roster was written by a program, with quotes.
const LONGEST: usize = 1 << 20;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_value_without_quotes_is_replaced_and_its_line_named() {
        let repaired = values("a = 2b7e15\n[[node]]\nname = pear\nb = 1\n").unwrap();
        assert_eq!(repaired.text, "a = 00:00:00\n[[node]]\nname = 00:00:00\nb = 1\n");
        let lines: Vec<_> = repaired.faults.iter().map(|(line, _)| *line).collect();
        assert_eq!(lines, [1, 3]);
    }

    #[test]
    fn what_is_more_than_a_value_is_not_repaired() {
        for text in ["[[node]\nname = \"pear\"\n", "a = 1\na = 2\n", "a = [1,\n2 3]\n", "x\n"] {
            assert!(values(text).is_none(), "{text}");
        }
    }
}
