//! Words that every room says alike: `1 octet`, `2 octets`; `no such file`.

use core::fmt;
#[cfg(feature = "std")]
use std::{borrow::Cow, io, path::Path};

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

/// Text of others as a line of ours may hold it: what is no visible character is written as its number.
///
/// A name, a path or a word of a log must not move the cursor, turn the direction of what follows, or
/// look like another name.
#[cfg(feature = "std")]
#[derive(Clone, Debug)]
pub(crate) struct Visible<'t>(Cow<'t, str>);

#[cfg(feature = "std")]
impl<'t> Visible<'t> {
    /// Returns a text that way.
    pub(crate) const fn text(text: &'t str) -> Self {
        Self(Cow::Borrowed(text))
    }

    /// Returns a path that way.
    pub(crate) fn path(path: &'t Path) -> Self {
        Self(path.to_string_lossy())
    }
}

#[cfg(feature = "std")]
impl fmt::Display for Visible<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if !self.0.contains(is_hidden) {
            return f.write_str(&self.0);
        }
        for c in self.0.chars() {
            if is_hidden(c) {
                write!(f, "{}", c.escape_default())?;
            } else {
                f.write_str(c.encode_utf8(&mut [0; 4]))?;
            }
        }
        Ok(())
    }
}

/// Whether a character cannot be seen, or changes how others are seen: control characters, marks that turn
/// the direction of text, characters without width, separators of lines (Unicode 15, chapter 23).
#[cfg(feature = "std")]
pub(crate) fn is_hidden(c: char) -> bool {
    c.is_control()
        || matches!(
            c,
            '\u{ad}'
                | '\u{61c}'
                | '\u{180e}'
                | '\u{200b}'..='\u{200f}'
                | '\u{2028}'..='\u{202e}'
                | '\u{2060}'..='\u{206f}'
                | '\u{feff}'
                | '\u{fff9}'..='\u{fffb}'
                | '\u{e0000}'..='\u{e0fff}'
        )
}

/// Returns text of several lines with everything hidden made visible, but for line ends and tabs.
#[cfg(any(feature = "cli", feature = "page"))]
pub(crate) fn visible_lines(text: &str) -> Cow<'_, str> {
    let is_bad = |c: char| is_hidden(c) && !matches!(c, '\n' | '\t');
    // Nearly every text is plain; its bytes say so without a look at each character.
    let is_plain = |b: u8| matches!(b, b'\n' | b'\t' | 0x20..=0x7E);
    if text.bytes().all(is_plain) || !text.contains(is_bad) {
        return Cow::Borrowed(text);
    }
    let mut out = String::with_capacity(text.len() + 8);
    let mut chars = text.chars().peekable();
    while let Some(c) = chars.next() {
        // A table's lines end with both (RFC 4180).
        let is_end = c == '\r' && chars.peek() == Some(&'\n');
        if is_bad(c) && !is_end { out.extend(c.escape_default()) } else { out.push(c) }
    }
    Cow::Owned(out)
}

/// Returns words without what has the shape of a key: 32 hex digits, or one more or fewer, together or
/// in bytes. A key typed in the wrong place must not stay on a screen or in a log.
#[cfg(feature = "std")]
pub(crate) fn without_keys(text: &str) -> Cow<'_, str> {
    let octets = text.as_bytes();
    let (mut kept, mut from, mut at) = (String::new(), 0, 0);
    while at < octets.len() {
        if matches!(octets.get(at..at + 2), Some([b'0', b'x' | b'X'])) && begins_a_word(octets, at)
        {
            at += 2;
        }
        if !begins_a_word(octets, at) {
            at += 1;
            continue;
        }
        let (end, digits) = hex_run(octets, at);
        if digits.abs_diff(KEY_DIGITS) <= 1 {
            kept.push_str(text.get(from..at).unwrap_or_default());
            kept.push_str("[shaped like a key: not shown]");
            from = end;
        }
        at = end.max(at + 1);
    }
    if from == 0 {
        return Cow::Borrowed(text);
    }
    kept.push_str(text.get(from..).unwrap_or_default());
    Cow::Owned(kept)
}

/// Whether a text is nothing but what has the shape of a key.
#[cfg(feature = "std")]
pub(crate) fn is_key_shaped(text: &str) -> bool {
    without_keys(text) != text
}

/// Whether a run of hex digits may begin there.
#[cfg(feature = "std")]
fn begins_a_word(octets: &[u8], at: usize) -> bool {
    if !octets.get(at).is_some_and(u8::is_ascii_hexdigit) {
        return false;
    }
    let before = octets.get(..at).unwrap_or_default();
    match before {
        [.., b'0', b'x' | b'X'] | [] => true,
        [.., last] => !last.is_ascii_alphanumeric(),
    }
}

/// Returns where a run of hex digits ends, and how many it has: digits together, or pairs with one separator
/// between each two. Of a run that goes on as another word there are none.
#[cfg(feature = "std")]
fn hex_run(octets: &[u8], at: usize) -> (usize, usize) {
    let is_hex = |i: usize| octets.get(i).is_some_and(u8::is_ascii_hexdigit);
    let (mut end, mut digits) = (at, 0);
    while is_hex(end) {
        (end, digits) = (end + 1, digits + 1);
    }
    let separator = octets.get(end).copied().filter(|c| matches!(c, b'-' | b':' | b' '));
    // 8-4-4-4-12 as well as two and two: the groups are even, and the separator stays the same.
    if digits < KEY_DIGITS - 1
        && digits % 2 == 0
        && let Some(separator) = separator
    {
        loop {
            let mut more = 0;
            while octets.get(end) == Some(&separator) && is_hex(end + 1 + more) {
                more += 1;
            }
            let word_goes_on = octets.get(end + 1 + more).is_some_and(u8::is_ascii_alphanumeric);
            if more == 0 || word_goes_on || more % 2 == 1 && digits + more < KEY_DIGITS - 1 {
                break;
            }
            // Spaces part words: what follows a key is no part of it.
            if digits >= KEY_DIGITS - 1 && separator == b' ' && more != 2 {
                break;
            }
            (end, digits) = (end + 1 + more, digits + more);
        }
    }
    if octets.get(end).is_some_and(u8::is_ascii_alphanumeric) {
        while octets.get(end).is_some_and(u8::is_ascii_alphanumeric) {
            end += 1;
        }
        return (end, 0);
    }
    (end, digits)
}

/// Hex digits of a key.
#[cfg(feature = "std")]
const KEY_DIGITS: usize = 32;

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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_is_no_plural() {
        let said = [0, 1, 2].map(|n| Count(n, "byte").to_string());
        assert_eq!(said, ["0 bytes", "1 byte", "2 bytes"]);
    }

    #[test]
    fn a_missing_file_is_a_file() {
        assert_eq!(Reason(io::ErrorKind::NotFound).to_string(), "no such file");
        assert_eq!(Reason(io::ErrorKind::IsADirectory).to_string(), "it is a directory");
        assert_eq!(Reason(io::ErrorKind::PermissionDenied).to_string(), "permission denied");
    }

    #[test]
    fn what_cannot_be_seen_is_written_as_its_number() {
        let shown = |text: &str| Visible::text(text).to_string();
        assert_eq!(
            shown("a\x1b[31mb\nc\u{202e}d\u{200b}\u{2028}\x7f"),
            "a\\u{1b}[31mb\\nc\\u{202e}d\\u{200b}\\u{2028}\\u{7f}"
        );
        assert_eq!(shown("Birnbaum \u{e4}\u{1f331}"), "Birnbaum \u{e4}\u{1f331}");
        assert_eq!(visible_lines("a\tb\r\nc\rd\x08\n"), "a\tb\r\nc\\rd\\u{8}\n");
    }

    #[test]
    fn what_has_the_shape_of_a_key_is_not_repeated() {
        let key = "8A4C19E2D75B03F6619EC8270DB3F45A";
        let bytes: Vec<&str> = (0..16).map(|i| &key[2 * i..2 * i + 2]).collect();
        let dashed = format!(
            "{}-{}-{}-{}-{}",
            &key[..8],
            &key[8..12],
            &key[12..16],
            &key[16..20],
            &key[20..]
        );
        for key in [
            key.to_owned(),
            format!("0x{key}"),
            key.to_lowercase(),
            bytes.join(" "),
            bytes.join("-"),
            dashed,
            key[1..].to_owned(),
        ] {
            let said = without_keys(&format!("{key}: no such file")).into_owned();
            assert!(
                said.trim_start_matches("0x")
                    .starts_with("[shaped like a key: not shown]: no such"),
                "{said}"
            );
            assert!(is_key_shaped(&format!("dir/{key}.txt")), "{key}");
        }
        for kept in [
            "02-00-00-FF-FE-A0-94-42: EUI",
            "0201BBDA",
            &format!("{key}{key}"),
            "a bee added",
            &format!("{key}x"),
            &format!("{} {}", bytes.join(" "), bytes.join(" ")),
        ] {
            assert_eq!(without_keys(kept), kept);
        }
    }

    #[test]
    fn a_sentence_has_a_capital_and_a_stop() {
        assert_eq!(sentence("the node asks again"), "The node asks again.");
        assert_eq!(sentence("OptNeg is 0"), "OptNeg is 0.");
        assert_eq!(sentence("is it so?"), "Is it so?");
    }
}
