//! Lines of text in a capture: whether they are noise of a log or damage.

use std::{collections::VecDeque, io};

use super::{
    capture::Item,
    datagram::Datagram,
    error::IntakeError,
    log::{self, Log},
    text::{Encoding, FrameText},
};

/// What a file of lines is.
#[derive(Clone, Copy, Debug, Default, Eq, PartialEq)]
enum Nature {
    /// Not known yet.
    #[default]
    Open,
    /// A capture: a line that is none of its own is damaged.
    Capture,
    /// A log: a line without a frame is none of ours.
    Log,
}

/// The lines of a capture that are no plain capture lines.
#[derive(Debug, Default)]
pub(super) struct Texts {
    log: Log,
    nature: Nature,
    /// Lines that are damage in a capture and nothing in a log.
    held: Vec<Item>,
    /// Lines that were passed over, and the first of them.
    passed: u64,
    first_passed: Option<Item>,
    /// Whether anything was found.
    found: bool,
    ready: VecDeque<Item>,
    error: Option<io::Error>,
    ended: bool,
}

impl Texts {
    /// Returns the next item, or the error of the stream once all items before it are gone.
    pub(super) fn ready(&mut self) -> Option<io::Result<Item>> {
        if let Some(item) = self.ready.pop_front() {
            return Some(Ok(item));
        }
        self.error.take().map(Err)
    }

    pub(super) fn push(&mut self, item: Item) {
        self.ready.push_back(item);
    }

    /// The stream has ended; returns whether anything is left to say.
    pub(super) fn end(&mut self, error: Option<io::Error>) -> bool {
        let failed = error.is_some();
        self.error = error;
        if self.ended {
            return failed;
        }
        self.ended = true;
        // Nothing says that it is a capture: one line of text is told for all.
        for item in std::mem::take(&mut self.held) {
            match item {
                Item::Skipped { .. } => self.pass(item),
                other => self.ready.push_back(other),
            }
        }
        let lines = self.passed;
        match self.first_passed.take() {
            Some(Item::Skipped { line: first, .. } | Item::Frame { line: first, .. })
                if self.found =>
            {
                self.ready.push_back(Item::Passed { first, lines });
            }
            other => self.ready.extend(other),
        }
        failed || !self.ready.is_empty()
    }

    /// A line that is a capture's stands here; returns whether the whole file is one.
    pub(super) fn begins(&mut self) -> bool {
        self.found = true;
        if self.nature == Nature::Open {
            if self.held_words() < WORDS_OF_A_LOG {
                self.nature = Nature::Capture;
                self.ready.extend(self.held.drain(..));
            } else {
                self.is_log();
            }
        }
        self.nature == Nature::Capture
    }

    fn held_words(&self) -> usize {
        self.held.iter().filter(|item| matches!(item, Item::Skipped { .. })).count()
    }

    fn is_log(&mut self) {
        self.nature = Nature::Log;
        for item in std::mem::take(&mut self.held) {
            self.pass(item);
        }
    }

    /// Takes a message of the station protocol; returns whether it was one.
    pub(super) fn message(&mut self, text: &str, line: u64) -> bool {
        let Some(datagrams) = self.log.message(text, line) else { return false };
        self.take(datagrams);
        true
    }

    /// Takes a line of JSON that is no datagram.
    pub(super) fn json(&mut self, text: &str, line: u64, why: IntakeError, ours: &mut bool) {
        if let Some(datagrams) = self.log.message(text, line) {
            *ours = self.begins();
            self.take(datagrams);
        } else if let Some(datagrams) = self.log.json(text, line) {
            self.guessed(datagrams);
        } else if *ours {
            self.ready.push_back(Item::Skipped { line, why });
        } else {
            self.hold(Item::Skipped { line, why });
        }
    }

    /// Takes a line that is neither JSON nor a frame.
    pub(super) fn words(&mut self, text: &str, line: u64, why: IntakeError) {
        let found = match why {
            IntakeError::NotAnObject => self.log.json(text, line),
            _ => self.log.text(text, line),
        };
        match found {
            Some(datagrams) => self.guessed(datagrams),
            None => self.hold(Item::Skipped { line, why }),
        }
    }

    /// Takes what was read and may be something else: octets that are a word or a number, an object
    /// of which nothing is known.
    pub(super) fn doubtful(&mut self, item: Item, text: &str, line: u64, ours: &mut bool) {
        match &item {
            Item::Frame { frame, .. } if log::is_lawful_alone(&frame.octets) => {
                *ours = self.begins();
                self.push(item);
            }
            Item::Frame { frame, .. } if self.nature == Nature::Open => {
                if is_doubtful(text, frame) {
                    self.hold(item);
                } else {
                    self.push(item);
                }
            }
            Item::Frame { .. } if self.nature == Nature::Log => self.pass(item),
            Item::Datagram(_) => {
                let holds_a_frame = |d: &Datagram| !d.rxpk.is_empty() || d.txpk.is_some();
                match self.log.json(text, line).filter(|found| found.iter().any(holds_a_frame)) {
                    Some(datagrams) => self.guessed(datagrams),
                    None => self.push(item),
                }
            }
            _ => self.push(item),
        }
    }

    fn guessed(&mut self, datagrams: Vec<Datagram>) {
        if self.nature == Nature::Open {
            self.is_log();
        }
        self.take(datagrams);
    }

    fn take(&mut self, datagrams: Vec<Datagram>) {
        self.found = true;
        self.ready.extend(datagrams.into_iter().map(Item::Datagram));
    }

    /// Keeps back a line that is damage or nothing, as the others will show.
    fn hold(&mut self, item: Item) {
        match self.nature {
            Nature::Log => self.pass(item),
            Nature::Capture => self.ready.push_back(item),
            Nature::Open => {
                self.held.push(item);
                if self.held.len() > MOST_HELD {
                    if self.held_words() >= WORDS_OF_A_LOG {
                        self.is_log();
                    } else {
                        self.begins();
                    }
                }
            }
        }
    }

    fn pass(&mut self, item: Item) {
        self.passed += 1;
        self.first_passed.get_or_insert(item);
    }
}

/// Whether octets may as well be a word, a number or a time of day.
fn is_doubtful(text: &str, frame: &FrameText) -> bool {
    let text = text.trim();
    frame.encoding == Encoding::Base64
        || text.bytes().all(|c| c.is_ascii_digit())
        || (frame.octets.len() < 6 && text.contains([':', '.', ',', '-']))
}

/// So many lines of text before the first line of a capture make the file a log.
const WORDS_OF_A_LOG: usize = 3;
/// Lines that are held back until it is known what the file is.
const MOST_HELD: usize = 32;
