//! Captures as commands read them: event by event; what is damaged is told by its line.

use std::{
    fs::{File, Metadata},
    io::{self, Read},
    path::{Path, PathBuf},
};

use jiff::{SignedDuration, Timestamp};

use super::{
    Screen,
    feed::{Fed, Feed},
    frames::{guesses, is_guess},
    progress::Progress,
};
use crate::{
    intake::{CaptureOptions, Crc, Damage, Event, Found, Item, Note, Position, Remark},
    words::{Count, Reason},
};

/// How many damaged lines are told one by one.
pub(super) const TOLD: usize = 20;

/// What is said where no more of them are told.
pub(super) fn more_damaged(name: &str) -> String {
    format!("{name}: more damaged lines, not told one by one")
}

/// How many there were, where not all were told.
pub(super) fn damaged_in_all(name: &str, damaged: usize) -> String {
    format!("{name}: {} in all", Count(damaged, "damaged line"))
}

/// Reads captures, `-` for standard input, and hands on every event: those of several captures in the
/// order of their times.
pub(super) fn read_all(
    paths: &[PathBuf],
    strict: bool,
    screen: &mut Screen,
    take: &mut dyn FnMut(Event),
) {
    let mut streams: Vec<(String, Box<dyn Read + Send>)> = Vec::new();
    // Known where every capture is a file.
    let mut octets = Some(0);
    for path in paths {
        if path == Path::new("-") {
            octets = None;
            streams.push(("standard input".to_owned(), Box::new(io::stdin())));
            continue;
        }
        let name = path.display().to_string();
        match File::open(path) {
            Ok(file) => {
                let known = file.metadata().ok().filter(Metadata::is_file).map(|data| data.len());
                octets = octets.zip(known).map(|(all, own)| all + own);
                streams.push((name, Box::new(file)));
            }
            Err(error) => screen.bad_input(&format!("{name}: {}", Reason(error.kind())), None),
        }
    }
    let options = CaptureOptions { strict, ..CaptureOptions::default() };
    read(streams, octets, options, screen, take);
}

/// Reads captures, each with its name. `octets` is how many they have, where that is known.
pub(super) fn read(
    streams: Vec<(String, Box<dyn Read + Send>)>,
    octets: Option<u64>,
    options: CaptureOptions,
    screen: &mut Screen,
    take: &mut dyn FnMut(Event),
) {
    let (names, streams): (Vec<String>, Vec<_>) = streams.into_iter().unzip();
    let mut tellers: Vec<Teller> = names.into_iter().map(Teller::new).collect();
    let mut progress = Progress::new(octets);
    let mut feed = Feed::new(streams, options);
    while let Some(Fed { source, item }) = feed.next() {
        progress.step(&feed);
        let Some(teller) = tellers.get_mut(usize::from(source)) else { continue };
        if let Some(event) = teller.take(item, screen) {
            take(event);
        }
    }
    progress.end();
    for teller in &mut tellers {
        teller.end(screen);
    }
}

/// Tells what is damaged in one capture.
#[derive(Debug)]
pub(super) struct Teller {
    name: String,
    damaged: usize,
    /// Of them, how many were told or counted aloud.
    told: usize,
    /// Whether anything at all was in it.
    any: bool,
    odd: Oddities,
}

impl Teller {
    pub(super) fn new(name: String) -> Self {
        Self { name, damaged: 0, told: 0, any: false, odd: Oddities::default() }
    }

    /// Tells what is wrong with an item; returns the event that it is.
    pub(super) fn take(&mut self, item: io::Result<Item>, screen: &mut Screen) -> Option<Event> {
        self.any = true;
        match item {
            Ok(Item::Event(event)) => {
                self.event(&event, screen);
                return Some(event);
            }
            Ok(Item::PassedOver(passed)) => {
                for words in passed.words() {
                    screen.word("note", &format!("{}: {words}", self.name));
                }
            }
            Err(error) => self.damage(screen, &format!(": {}", Reason(error.kind())), None),
        }
        None
    }

    fn event(&mut self, event: &Event, screen: &mut Screen) {
        self.odd.see(event);
        let Some(gap) = event.gap() else { return };
        let place = here(event.place);
        match &gap.damage {
            Damage::All(why) => {
                self.damage(screen, &format!(", {place}: {why}"), Some(why.hint()));
            }
            Damage::Member(note) if note.loses_a_frame() => {
                self.damage(screen, &format!(", {place}: {note}"), None);
            }
            Damage::Member(note) => self.odd.note(event.place, note),
        }
    }

    /// Tells what was odd in what was read so far, each kind of it once.
    pub(super) fn sum_up(&mut self, screen: &mut Screen) {
        if self.damaged > self.told.max(TOLD) {
            self.told = self.damaged;
            screen.bad_input(&damaged_in_all(&self.name, self.damaged), None);
        }
        self.odd.tell(&self.name, screen);
    }

    /// Tells that a capture has ended without anything in it.
    pub(super) fn end(&mut self, screen: &mut Screen) {
        self.sum_up(screen);
        if !self.any {
            let words = format!("{}: empty: no datagram and no frame in it", self.name);
            screen.word("note", &words);
        }
    }

    fn damage(&mut self, screen: &mut Screen, words: &str, hint: Option<&str>) {
        self.damaged += 1;
        if self.damaged <= TOLD {
            screen.bad_input(&format!("{}{words}", self.name), hint);
        } else if self.damaged == TOLD + 1 {
            screen.bad_input(&more_damaged(&self.name), None);
        }
    }
}

/// What was taken or passed over without being damage: told once a capture, by the first of its kind.
#[derive(Debug, Default)]
struct Oddities {
    bare: Oddity,
    cut: Oddity,
    left_out: Oddity,
    backwards: Oddity,
    guessed: Oddity,
    dateless: Oddity,
    told: Oddity,
    zoneless: Oddity,
    latest: Option<Timestamp>,
}

/// How many there were, and the first.
#[derive(Debug, Default)]
struct Oddity {
    count: usize,
    first: Option<String>,
    told: bool,
}

impl Oddity {
    fn add(&mut self, first: impl FnOnce() -> String) {
        self.count += 1;
        self.first.get_or_insert_with(first);
    }

    /// Returns the first, where it was not told before.
    fn news(&mut self) -> Option<&str> {
        let first = self.first.as_deref()?;
        (!std::mem::replace(&mut self.told, true)).then_some(first)
    }

    /// Returns the first and how many more there were, where that was not told before.
    fn told(&mut self) -> Option<String> {
        let more = self.count.saturating_sub(1);
        let first = self.news()?;
        Some(if more == 0 { first.to_owned() } else { format!("{first}; {more} more") })
    }
}

impl Oddities {
    fn see(&mut self, event: &Event) {
        let place = here(event.place);
        if is_guess(event) {
            self.guessed.add(|| place.to_string());
        }
        let alone = event.found == Found::Alone;
        if alone {
            self.bare.add(|| place.to_string());
        }
        event.notes.iter().for_each(|note| self.note(event.place, note));
        let bad = event.heard().is_some_and(|heard| heard.crc == Crc::Bad);
        // Of bytes by themselves nobody says that they are a frame.
        let frame = event.frame().filter(|_| !bad && !alone);
        if let Some(error) = frame.and_then(|frame| frame.stopped.as_ref()) {
            self.cut.add(|| format!("{place}: {error}"));
        }
        let Some(at) = event.time else { return };
        match self.latest {
            Some(latest) if latest.duration_since(at) > JITTER => {
                self.backwards.add(|| format!("{place} ({at} after {latest})"));
                self.latest = Some(at);
            }
            Some(latest) => self.latest = Some(latest.max(at)),
            None => self.latest = Some(at),
        }
    }

    fn note(&mut self, place: Position, note: &Note) {
        let place = here(place);
        match note.remark {
            Remark::NoZone => self.zoneless.add(|| place.to_string()),
            Remark::NoDate => self.dateless.add(|| place.to_string()),
            Remark::Told(_) => self.told.add(|| format!("{place}: {note}")),
            _ if note.leaves_a_member_out() => self.left_out.add(|| format!("{place}: {note}")),
            _ => {}
        }
    }

    fn tell(&mut self, name: &str, screen: &mut Screen) {
        if let Some(told) = self.backwards.told() {
            let words = format!(
                "{name}: times go backwards at {told}: a clock was set, or lines are out of order; \
                 `diagnose` takes them in the order of their times, `airtime` as they stand"
            );
            screen.word("caution", &words);
        }
        let count = self.guessed.count;
        if let Some(first) = self.guessed.news() {
            screen.word("note", &guesses(name, count, first));
        }
        if let Some(told) = self.zoneless.told() {
            let words = format!(
                "{name}: times name no zone that is known here, {told}: taken for UTC; only \
                 differences are sure"
            );
            screen.word("note", &words);
        }
        if let Some(told) = self.dateless.told() {
            let words = format!(
                "{name}: clocks without a date that is understood, {told}: only the order of these \
                 lines is known, and no delay"
            );
            screen.word("note", &words);
        }
        if let Some(told) = self.told.told() {
            screen.word("note", &format!("{name}, {told}"));
        }
        if let Some(told) = self.left_out.told() {
            let words = format!("{name}: members left out, {told} (`handfast read` lists them)");
            screen.word("note", &words);
        }
        if let Some(told) = self.cut.told() {
            let words = format!("{name}: frames not whole, {told} (`handfast read` shows them)");
            screen.word("note", &words);
        }
        let count = self.bare.count;
        if self.bare.news().is_some() {
            let words = format!(
                "{name}: {} without gateway and time: only their order is known, and no delay",
                Count(count, "bare frame")
            );
            screen.word("note", &words);
        }
    }
}

/// A place in its own capture, which is named before it.
const fn here(place: Position) -> Position {
    Position { source: 0, ..place }
}

/// Datagrams of several gateways may come as much out of order.
const JITTER: SignedDuration = SignedDuration::from_secs(2);
