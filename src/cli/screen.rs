//! Where a command writes: data to standard output, words to standard error.

use std::{
    borrow::Cow,
    collections::BTreeSet,
    fmt,
    io::{self, BufWriter, Stderr, Stdout, Write},
};

use anstream::{AutoStream, ColorChoice};

use super::{Exit, UsageError, fold::fold};
use crate::{
    show::Style,
    words::{visible_lines, without_keys},
};

/// Columns of text, on both streams.
pub(super) const WIDTH: usize = 80;

/// Why a command stopped.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Failure {
    /// The usage is wrong.
    #[error(transparent)]
    Usage(#[from] UsageError),
    /// Standard output does not take what is written.
    #[error("cannot write: {0}")]
    Write(#[from] io::Error),
    /// A report that a command could not make, in its own words.
    #[error("{0}")]
    Report(String),
}

/// The two streams of a run, and how it has gone so far.
#[derive(Debug)]
pub struct Screen {
    out: BufWriter<Stdout>,
    err: Stderr,
    style: Style,
    err_style: Style,
    exit: Exit,
    hinted: BTreeSet<String>,
}

impl Screen {
    /// Returns the screen of this process.
    pub fn new(choice: ColorChoice) -> Self {
        let (out, err) = (io::stdout(), io::stderr());
        // The choice covers NO_COLOR, CLICOLOR, TERM and whether this is a terminal.
        let colour = |auto| match choice {
            ColorChoice::Auto => auto,
            other => other,
        };
        let style = |choice| Style { width: WIDTH, colour: choice != ColorChoice::Never };
        Self {
            style: style(colour(AutoStream::choice(&out))),
            err_style: style(colour(AutoStream::choice(&err))),
            out: BufWriter::new(out),
            err,
            exit: Exit::Fine,
            hinted: BTreeSet::new(),
        }
    }

    /// Returns how text on standard output is laid out.
    pub const fn style(&self) -> Style {
        self.style
    }

    /// Writes data, immediately: the reader of a pipe may wait for this very line.
    ///
    /// # Errors
    /// [`Failure::Write`], a closed pipe included, which ends the run in peace.
    pub fn data(&mut self, text: &str) -> Result<(), Failure> {
        self.put(text)?;
        Ok(self.out.flush()?)
    }

    /// Writes data that may wait for more to come: see [`Self::flush`].
    ///
    /// # Errors
    /// As [`Self::data`].
    pub fn put(&mut self, text: &str) -> Result<(), Failure> {
        let text = guarded(text, self.style.colour);
        Ok(self.out.write_all(text.as_bytes())?)
    }

    /// Draws on a terminal: sequences of ours that move its cursor, around text that is made safe.
    ///
    /// # Errors
    /// As [`Self::data`].
    pub(super) fn draw(
        &mut self,
        before: &str,
        text: &str,
        line_end: &str,
        after: &str,
    ) -> Result<(), Failure> {
        let text = guarded(text, self.style.colour);
        write!(self.out, "{before}{}{after}", text.replace('\n', line_end))?;
        Ok(self.out.flush()?)
    }

    /// Sees to it that all data is out.
    ///
    /// # Errors
    /// As [`Self::data`].
    pub fn flush(&mut self) -> Result<(), Failure> {
        Ok(self.out.flush()?)
    }

    /// Writes a report that is a text or an error.
    ///
    /// # Errors
    /// [`Failure::Report`] with the error's words, [`Failure::Write`] as [`Self::data`].
    pub fn report(&mut self, report: Result<String, impl fmt::Display>) -> Result<(), Failure> {
        match report {
            Ok(text) => self.data(&text),
            Err(error) => Err(Failure::Report(error.to_string())),
        }
    }

    /// Writes words about the run: `caution`, `note`.
    pub fn word(&mut self, kind: &str, text: &str) {
        let (on, off) = if self.err_style.colour { ("\x1b[1m", "\x1b[0m") } else { ("", "") };
        // What was written before stands before. A failure is met again by whoever writes data.
        let _ = self.out.flush();
        // The model of a key in a hint is nobody's.
        let text = if kind == "hint" { text.into() } else { without_keys(text) };
        let text = guarded(&text, false);
        let words = fold(&format!("{kind}: {text}"), kind.chars().count() + 2, WIDTH);
        let words = words.strip_prefix(kind).unwrap_or(&words);
        let words = words.strip_prefix(':').unwrap_or(words);
        // Where standard error is closed there is nobody to tell.
        let _ = writeln!(self.err, "{on}{kind}:{off}{words}");
    }

    /// Writes an error and, once a run, what a right input looks like; the run goes on and ends with
    /// 2.
    pub fn bad_input(&mut self, error: &dyn fmt::Display, hint: Option<&str>) {
        self.exit = self.exit.max(Exit::BadInput);
        self.word("error", &error.to_string());
        if let Some(hint) = hint
            && self.hinted.insert(hint.to_owned())
        {
            self.word("hint", hint);
        }
    }

    /// Remembers that the run ends as after a bad input; its words come later.
    pub(super) fn ends_badly(&mut self) {
        self.exit = self.exit.max(Exit::BadInput);
    }

    /// Remembers that a fault was found.
    pub fn fault_found(&mut self) {
        self.exit = self.exit.max(Exit::FaultFound);
    }

    /// Ends the run.
    pub(super) fn end(mut self, ran: Result<(), Failure>) -> Exit {
        match ran.and_then(|()| self.flush()) {
            Ok(()) => {}
            Err(Failure::Write(error)) if error.kind() == io::ErrorKind::BrokenPipe => {}
            Err(Failure::Usage(error)) => self.bad_input(&error, error.hint().as_deref()),
            Err(error) => self.bad_input(&error, None),
        }
        // What a closed pipe left in the buffer has no reader.
        let _ = self.out.into_parts();
        self.exit
    }
}

/// Returns text for a screen: whatever could move its cursor, hide or turn a part of it is made visible. Colours
/// that this program paints with stay where it paints.
fn guarded(text: &str, colour: bool) -> Cow<'_, str> {
    if !colour || !text.contains('\x1b') {
        return visible_lines(text);
    }
    let mut out = String::with_capacity(text.len());
    let mut rest = text;
    while let Some((before, after)) = rest.split_once('\x1b') {
        out.push_str(&visible_lines(before));
        let own = Style::COLOURS.iter().find(|own| after.starts_with(**own));
        if let Some(own) = own {
            out.push('\x1b');
            out.push_str(own);
            rest = after.get(own.len()..).unwrap_or_default();
        } else {
            out.push_str("\\u{1b}");
            rest = after;
        }
    }
    out.push_str(&visible_lines(rest));
    out.into()
}

/// Returns the words of a wrong usage, in which the arguments stand as they were typed.
pub(super) fn guarded_usage(text: &str) -> String {
    let mut out = String::new();
    for (i, part) in text.split("\x1b[").enumerate() {
        let (colour, rest) = match part.split_once('m').filter(|_| i > 0) {
            Some((digits, rest)) if digits.bytes().all(|b| b.is_ascii_digit() || b == b';') => {
                (format!("\x1b[{digits}m"), rest)
            }
            _ if i > 0 => ("\\u{1b}[".to_owned(), part),
            _ => (String::new(), part),
        };
        out.push_str(&colour);
        out.push_str(&visible_lines(&without_keys(rest)));
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn colours_of_ours_stay_and_nothing_else_moves_the_cursor() {
        let text = "\x1b[32mholds\x1b[0m \x1b]0;title\x07 \x1b[2J\u{202e}\n";
        let safe = "\x1b[32mholds\x1b[0m \\u{1b}]0;title\\u{7} \\u{1b}[2J\\u{202e}\n";
        assert_eq!(guarded(text, true), safe);
        assert_eq!(guarded("\x1b[32mx\n", false), "\\u{1b}[32mx\n");
        let key = "8A4C19E2D75B03F6619EC8270DB3F45A";
        let said = guarded_usage(&format!("\x1b[1mno\x1b[0m '\x1b[33m{key}\x1b[0m' \x1b]0;x\x07"));
        assert!(!said.contains(key) && said.starts_with("\x1b[1mno\x1b[0m '\x1b[33m["), "{said:?}");
        assert!(said.ends_with("\\u{1b}]0;x\\u{7}"), "{said:?}");
    }
}
