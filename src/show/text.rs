//! Text: blocks that read well at 80 columns and without colour.

mod diagnosis;
mod holdings;
mod key_sheet;
mod reading;
mod working;

pub use diagnosis::{Depth, diagnosis, gateway, gateways, legend, overview};
pub use holdings::holdings;
pub use key_sheet::key_sheet;
pub use reading::{Heading, brief, reading};
pub use working::working;

use std::{borrow::Cow, fmt};

use super::Style;

/// What a piece of text is, which colour may stress and never says alone.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(super) enum Tone {
    /// Nothing special.
    Plain,
    /// A title.
    Title,
    /// An explanation beside a value.
    Quiet,
    /// Something that holds.
    Good,
    /// Something that is wrong.
    Bad,
    /// Something that cannot be told.
    Open,
}

impl Tone {
    const fn on(self) -> &'static str {
        match self {
            Self::Plain => "",
            Self::Title => "\x1b[1m",
            Self::Quiet => "\x1b[2m",
            Self::Good => "\x1b[32m",
            Self::Bad => "\x1b[1;31m",
            Self::Open => "\x1b[33m",
        }
    }
}

impl Style {
    /// The sequences that colours consist of, behind their escape character: a screen lets no others pass.
    #[cfg(feature = "cli")]
    pub(crate) const COLOURS: [&str; 6] = ["[0m", "[1m", "[2m", "[32m", "[1;31m", "[33m"];

    /// Returns the text in that tone.
    pub(super) fn paint<'a>(&self, tone: Tone, text: &'a str) -> Cow<'a, str> {
        if !self.colour || tone == Tone::Plain || text.is_empty() {
            return Cow::Borrowed(text);
        }
        Cow::Owned(format!("{}{text}\x1b[0m", tone.on()))
    }
}

/// Breaks text at spaces into lines of at most `width` columns; a longer word is broken.
pub(super) fn wrap(text: &str, width: usize) -> Vec<String> {
    let width = width.max(8);
    let mut lines = Vec::new();
    let mut line = String::new();
    let mut used = 0;
    for word in text.split_whitespace() {
        let mut word: Vec<char> = word.chars().collect();
        if used > 0 && used + 1 + word.len() > width {
            lines.push(std::mem::take(&mut line));
            used = 0;
        }
        while word.len() > width {
            let rest = word.split_off(width);
            lines.push(word.into_iter().collect());
            word = rest;
        }
        if used > 0 {
            line.push(' ');
            used += 1;
        }
        used += word.len();
        line.extend(word);
    }
    if !line.is_empty() {
        lines.push(line);
    }
    lines
}

/// Writes a paragraph: `first` before its first line, as many spaces before the others.
pub(super) fn paragraph(
    out: &mut dyn fmt::Write,
    style: Style,
    first: &str,
    tone: Tone,
    text: &str,
) -> fmt::Result {
    let indent = first.chars().count();
    for (i, line) in wrap(text, style.width.saturating_sub(indent)).iter().enumerate() {
        let before = if i == 0 { first } else { "" };
        writeln!(out, "{}{}", style.paint(tone, &format!("{before:indent$}")), line)?;
    }
    Ok(())
}

/// Returns octets as people read them: `01 00 0B`.
pub(super) fn spaced(octets: &[u8]) -> String {
    let digits: Vec<_> = octets.iter().map(|octet| format!("{octet:02X}")).collect();
    digits.join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_break_at_spaces_and_long_words_anywhere() {
        assert_eq!(wrap("a bee sees", 8), ["a bee", "sees"]);
        assert_eq!(wrap("0123456789", 8), ["01234567", "89"]);
        assert_eq!(wrap("ab 0123456789 cd", 8), ["ab", "01234567", "89 cd"]);
        assert!(wrap("", 8).is_empty());
    }

    #[test]
    fn colour_comes_only_when_asked_for() {
        let colour = Style { width: 80, colour: true };
        assert_eq!(colour.paint(Tone::Good, "holds"), "\x1b[32mholds\x1b[0m");
        assert_eq!(Style::PLAIN.paint(Tone::Good, "holds"), "holds");
    }
}
