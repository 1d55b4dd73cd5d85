//! Lines of text in a capture: whether they are noise of a log or damage.

use std::collections::VecDeque;

use super::{
    error::IntakeError,
    event::{Damage, Event, Gap, Lost, Position, What},
    item::{Item, PassedOver},
    log::{self, Log},
    note::{Note, Remark, Within},
    octets,
    rows::Rows,
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

/// What the lines of a capture say, in their order.
#[derive(Debug, Default)]
pub(super) struct Texts {
    /// Whether no frames hidden in other text are looked for.
    strict: bool,
    log: Log,
    nature: Nature,
    /// Whether a line showed that it is a capture: then nothing is guessed.
    ours: bool,
    /// Lines that are damage in a capture and nothing in a log, and frames by themselves among them.
    held: Vec<Event>,
    /// Lines that were passed over, and the first of them.
    passed: u64,
    first_passed: Option<Event>,
    /// Whether anything was found.
    found: bool,
    ready: VecDeque<Item>,
}

impl Texts {
    pub(super) fn new(strict: bool) -> Self {
        Self { strict, ..Self::default() }
    }

    /// Returns the next item.
    pub(super) fn ready(&mut self) -> Option<Item> {
        self.ready.pop_front()
    }

    /// No more lines will come.
    pub(super) fn end(&mut self) {
        // Nothing says that it is a capture: one line of text is told for all.
        let wordless = self.held_words() == 0;
        for event in std::mem::take(&mut self.held) {
            if wordless && begins_well(&event) { self.push(event) } else { self.pass(event) }
        }
        let lines = self.passed;
        match self.first_passed.take() {
            Some(event) if self.found => {
                let passed = PassedOver::Lines { first: event.place.number, lines };
                self.ready.push_back(Item::PassedOver(passed));
            }
            other => self.ready.extend(other.map(Item::Event)),
        }
    }

    /// A line of which nothing is taken, and that is no text of a log.
    pub(super) fn damage(&mut self, place: Position, why: IntakeError) {
        self.push(damaged(place, why));
    }

    /// A message that is a capture's, on one line or over several.
    pub(super) fn whole(&mut self, events: &mut Vec<Event>) {
        if events.first().is_some_and(|event| event.place.more > 0) {
            self.pasted();
        } else {
            self.begins();
        }
        self.ready.extend(events.drain(..).map(Item::Event));
    }

    /// An object of which nothing is known, and that may be something else.
    pub(super) fn hollow(&mut self, events: &mut Vec<Event>, text: &str, place: Position) {
        let has_a_frame = |events: &Vec<Event>| events.iter().any(|e| e.frame().is_some());
        let guess = if self.strict { None } else { self.log.json(text, place) };
        match guess.filter(has_a_frame) {
            Some(events) => self.guessed(events),
            None => self.ready.extend(events.drain(..).map(Item::Event)),
        }
    }

    /// An object that is no datagram.
    pub(super) fn json(&mut self, text: &str, place: Position) {
        if let Some(events) = self.log.message(text, place) {
            self.begins();
            return self.take(events);
        }
        let guess = if self.strict { None } else { self.log.json(text, place) };
        match guess {
            Some(events) => self.guessed(events),
            None => self.lost(place, IntakeError::NoDatagram),
        }
    }

    /// JSON that cannot be read to its end, but perhaps to where a bracket too many stands.
    pub(super) fn broken_json(&mut self, text: &str, place: Position, why: IntakeError) {
        let whole = if self.strict || self.ours { None } else { log::before_brackets(text) };
        match whole.and_then(|text| self.log.json(text, place)) {
            Some(events) => self.guessed(events),
            None => self.damage(place, why),
        }
    }

    /// Takes what is found in a text that went over several lines; returns whether anything is.
    pub(super) fn found_in(&mut self, text: &str, place: Position) -> bool {
        if let Some(events) = self.log.message(text, place) {
            self.guessed(events);
            return true;
        }
        let found = self.log.json(text, place).or_else(|| self.log.text(text, place));
        let taken = found.is_some();
        if let Some(events) = found {
            self.guessed(events);
        }
        taken
    }

    /// Takes octets that went over several lines; returns whether they are anything.
    pub(super) fn rows(&mut self, rows: &Rows) -> bool {
        let found = self.log.rows(rows);
        let taken = found.is_some();
        if let Some(events) = found {
            self.guessed(events);
        }
        taken
    }

    /// Returns the last words that were read.
    pub(super) fn before(&self) -> &str {
        self.log.before()
    }

    /// A line that is neither an object nor a frame.
    pub(super) fn words(&mut self, text: &str, place: Position, why: IntakeError) {
        let guess = match why {
            _ if self.ours || self.strict => None,
            IntakeError::NotAnObject => {
                self.log.json(text, place).or_else(|| self.log.quoted(text, place))
            }
            _ => self.log.text(text, place),
        };
        if let Some(events) = guess {
            return self.guessed(events);
        }
        self.log.remember(text);
        self.lost(place, why);
    }

    /// Octets that may be a word or a number.
    pub(super) fn bare(&mut self, frame: FrameText, text: &str, place: Position) {
        if !self.strict && frame.encoding == Encoding::Hex && octets::is_mixed(text) {
            return self.words(text, place, IntakeError::NoFrame { octets: frame.octets.len() });
        }
        let event = bare(frame, place);
        let lawful = event.frame().is_some_and(log::is_lawful_alone);
        match self.nature {
            _ if self.strict => self.push(event),
            _ if lawful => {
                self.begins();
                self.push(event);
            }
            Nature::Open if !is_told(text) => self.hold(event),
            Nature::Log => self.pass(event),
            Nature::Open | Nature::Capture => self.push(event),
        }
    }

    fn push(&mut self, event: Event) {
        self.ready.push_back(Item::Event(event));
    }

    fn take(&mut self, events: Vec<Event>) {
        self.found = true;
        self.ready.extend(events.into_iter().map(Item::Event));
    }

    fn guessed(&mut self, events: Vec<Event>) {
        self.pasted();
        self.take(events);
    }

    /// A line that is a capture's is here.
    fn begins(&mut self) {
        self.decide();
        self.ours = self.nature == Nature::Capture;
    }

    /// Something is here that no recorder writes, a frame in words or a message over several lines: words stand
    /// between.
    fn pasted(&mut self) {
        self.found = true;
        if self.nature == Nature::Open {
            self.is_log();
        }
    }

    /// Takes the file for a capture, or for a log where many lines of text came first.
    fn decide(&mut self) {
        self.found = true;
        if self.nature == Nature::Open {
            if self.held_words() < WORDS_OF_A_LOG {
                self.nature = Nature::Capture;
                let wordless = self.held_words() == 0;
                for event in std::mem::take(&mut self.held) {
                    let keep = event.gap().is_some() || wordless && begins_well(&event);
                    self.push(if keep { event } else { refused(event) });
                }
            } else {
                self.is_log();
            }
        }
    }

    fn held_words(&self) -> usize {
        self.held.iter().filter(|event| event.gap().is_some()).count()
    }

    fn is_log(&mut self) {
        self.nature = Nature::Log;
        for event in std::mem::take(&mut self.held) {
            self.pass(event);
        }
    }

    /// A line of which nothing is taken: damage in a capture, and nothing in a log.
    fn lost(&mut self, place: Position, why: IntakeError) {
        let event = damaged(place, why);
        if self.ours || self.strict { self.push(event) } else { self.hold(event) }
    }

    /// Keeps back a line that is damage or nothing, as the others will show.
    fn hold(&mut self, event: Event) {
        match self.nature {
            Nature::Log => self.pass(event),
            Nature::Capture => self.push(event),
            Nature::Open => {
                self.held.push(event);
                if self.held.len() > MOST_HELD {
                    if self.held_words() >= WORDS_OF_A_LOG {
                        self.is_log();
                    } else {
                        self.decide();
                    }
                }
            }
        }
    }

    fn pass(&mut self, event: Event) {
        self.passed += 1;
        self.first_passed.get_or_insert_with(|| refused(event));
    }
}

/// A line of which nothing was taken.
pub(super) fn damaged(place: Position, why: IntakeError) -> Event {
    let gap = Gap { lost: Lost::Anything, damage: Damage::All(why) };
    Event::new(place, What::Gap(Box::new(gap)))
}

/// A frame by itself: nothing is known of it but the order.
fn bare(text: FrameText, place: Position) -> Event {
    let (within, member) = (Within::Bare, "");
    let note = |leniency| Note { within, member, remark: Remark::Lenient(leniency) };
    let notes = text.leniencies.into_iter().map(note).collect();
    Event { notes, ..Event::bare(place, &text.octets) }
}

/// The same as damage, where octets by themselves are taken for no frame.
fn refused(event: Event) -> Event {
    match event.frame() {
        Some(frame) => damaged(event.place, IntakeError::NoFrame { octets: frame.octets.len() }),
        None => event,
    }
}

/// Whether octets begin like a frame, and are not too few for one: it may be damaged.
fn begins_well(event: &Event) -> bool {
    event.frame().is_some_and(log::begins_well)
}

/// Whether somebody said what a line is.
fn is_told(text: &str) -> bool {
    let text = text.trim_start();
    let said =
        |word: &str| text.get(..word.len()).is_some_and(|head| head.eq_ignore_ascii_case(word));
    said("hex:") || said("base64:")
}

/// So many lines of text before the first line of a capture make the file a log.
const WORDS_OF_A_LOG: usize = 3;
/// Lines that are held back until it is known what the file is.
const MOST_HELD: usize = 32;
