//! Where a command writes: data to standard output, words to standard error.

use std::{
    collections::BTreeSet,
    fmt,
    io::{self, BufWriter, Stderr, Stdout, Write},
};

use anstream::{AutoStream, ColorChoice};

use super::{Exit, UsageError, fold::fold};
use crate::show::Style;

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

    /// Writes data, at once: the reader of a pipe may wait for this very line.
    ///
    /// # Errors
    /// [`Failure::Write`], a closed pipe included, which ends the run in peace.
    pub fn data(&mut self, text: &str) -> Result<(), Failure> {
        self.out.write_all(text.as_bytes())?;
        Ok(self.out.flush()?)
    }

    /// Writes data that may wait for more to come: see [`Self::flush`].
    ///
    /// # Errors
    /// As [`Self::data`].
    pub fn put(&mut self, text: &str) -> Result<(), Failure> {
        Ok(self.out.write_all(text.as_bytes())?)
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
