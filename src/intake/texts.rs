//! Lines of text in a capture: whether they are noise of a log or damage, and what they are worth.

use std::{collections::VecDeque, io};

use super::{
    capture::Item,
    datagram::{Datagram, Found},
    error::IntakeError,
    log::{self, Log},
    text::{Encoding, FrameText},
};
use crate::words::Count;

/// What was found in lines of text.
#[derive(Clone, Copy, Debug, Default, Eq, PartialEq)]
pub struct InText {
    /// Frames that were found within text.
    pub frames: usize,
    /// The line of the first of them, from 1.
    pub first: u64,
    /// Lines without a frame.
    pub passed_over: usize,
    /// Whether times without a zone were taken as UTC.
    pub without_zone: bool,
    /// Whether there were clocks without a date, which give no time.
    pub without_date: bool,
}

impl InText {
    /// Returns a sentence for each thing to be known.
    pub fn words(&self) -> Vec<String> {
        let mut words = Vec::new();
        if self.frames > 0 {
            words.push(format!(
                "{} found in lines of text, the first in line {}; --strict leaves them out",
                Count(self.frames, "frame"),
                self.first
            ));
        }
        if self.passed_over > 0 {
            words.push(format!("{} without a frame passed over", Count(self.passed_over, "line")));
        }
        if self.without_zone {
            words.push(
                "times without a zone are taken as UTC: what passed between them is right, the time \
                 of day may not be"
                    .to_owned(),
            );
        }
        if self.without_date {
            words.push(
                "lines with a clock and no date: of these only the order is known, and no delay is \
                 told by it"
                    .to_owned(),
            );
        }
        words
    }
}

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
    /// The first of them, where it came to be a log.
    first_passed: Option<Item>,
    tally: InText,
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
        self.ready.extend(self.held.drain(..));
        if !self.found {
            // A log in which nothing was found is nothing to be silent about.
            self.ready.extend(self.first_passed.take());
        }
        let times = self.log.times;
        self.tally.without_zone = times.without_zone;
        self.tally.without_date = times.without_date;
        if self.tally != InText::default() {
            self.ready.push_back(Item::InText(self.tally));
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
            Item::Datagram(_) if let Some(datagrams) = self.log.json(text, line) => {
                self.guessed(datagrams);
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
        for datagram in datagrams {
            let frames = datagram.rxpk.len() + usize::from(datagram.txpk.is_some());
            if datagram.found != Found::Whole && frames > 0 {
                if self.tally.frames == 0 {
                    self.tally.first = datagram.line;
                }
                self.tally.frames += frames;
            }
            self.ready.push_back(Item::Datagram(datagram));
        }
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
        self.tally.passed_over += 1;
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
