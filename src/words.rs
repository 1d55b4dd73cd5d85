//! Words that every room says alike: `1 octet`, `2 octets`; `no such file`.

use core::fmt;
#[cfg(feature = "std")]
use std::io;

/// A number and the noun that it counts, whose plural takes an `s`.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Count(pub usize, pub &'static str);

impl fmt::Display for Count {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self(number, noun) = *self;
        let plural = if number == 1 { "" } else { "s" };
        write!(f, "{number} {noun}{plural}")
    }
}

/// Why a file cannot be read, in the words of its user and not of the system.
#[cfg(feature = "std")]
#[derive(Clone, Copy, Debug)]
pub(crate) struct Reason(pub io::ErrorKind);

#[cfg(feature = "std")]
impl fmt::Display for Reason {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.0 {
            io::ErrorKind::NotFound => f.write_str("no such file"),
            io::ErrorKind::IsADirectory => f.write_str("it is a directory"),
            io::ErrorKind::InvalidData => f.write_str("it is not text"),
            kind => kind.fmt(f),
        }
    }
}

/// Returns the words as a sentence: a capital first, a full stop last.
#[cfg(feature = "std")]
pub(crate) fn sentence(words: &str) -> String {
    let mut chars = words.chars();
    let first = chars.next().map(|c| c.to_uppercase().to_string()).unwrap_or_default();
    let rest = chars.as_str();
    // A name of the standard keeps its spelling.
    let begins_with_name = rest.chars().next().is_some_and(char::is_uppercase);
    let first = if begins_with_name { words.chars().take(1).collect() } else { first };
    let stop = if words.ends_with(['.', '?', '!']) { "" } else { "." };
    format!("{first}{rest}{stop}")
}

/// Returns a line of a log fit to print: without what may be a key, however it is written, and
/// without control characters.
#[cfg(feature = "std")]
pub(crate) fn log_line(text: &str) -> String {
    let mut out = String::new();
    let mut run = String::new();
    let flush = |run: &mut String, out: &mut String| {
        let digits = run.chars().filter(char::is_ascii_hexdigit).count();
        out.push_str(if digits >= KEY_DIGITS { "[...]" } else { run });
        run.clear();
    };
    for c in text.chars() {
        let joins = c.is_ascii_hexdigit()
            || (!run.is_empty() && matches!(c, '-' | ':' | ' ' | '_' | ',' | 'x' | 'X'));
        if joins {
            run.push(c);
            continue;
        }
        flush(&mut run, &mut out);
        if c.is_control() {
            out.extend(c.escape_default());
        } else {
            out.push(c);
        }
    }
    flush(&mut run, &mut out);
    out
}

/// Hex digits of a key.
#[cfg(feature = "std")]
const KEY_DIGITS: usize = 32;
#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_is_no_plural() {
        let said = [0, 1, 2].map(|n| Count(n, "octet").to_string());
        assert_eq!(said, ["0 octets", "1 octet", "2 octets"]);
    }

    #[test]
    fn a_missing_file_is_a_file() {
        assert_eq!(Reason(io::ErrorKind::NotFound).to_string(), "no such file");
        assert_eq!(Reason(io::ErrorKind::IsADirectory).to_string(), "it is a directory");
        assert_eq!(Reason(io::ErrorKind::PermissionDenied).to_string(), "permission denied");
    }

    #[test]
    fn a_sentence_has_a_capital_and_a_stop() {
        assert_eq!(sentence("the node asks again"), "The node asks again.");
        assert_eq!(sentence("OptNeg is 0"), "OptNeg is 0.");
        assert_eq!(sentence("is it so?"), "Is it so?");
    }
}
