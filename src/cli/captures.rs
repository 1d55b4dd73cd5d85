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
    progress::Progress,
};
use crate::{
    intake::{
        CaptureOptions, Crc, Damage, Event, HowFound, Item, Leg, Note, Position, Remark, What,
    },
    words::{Count, Reason, Visible},
};

/// How many damaged lines are told one by one, and how many notes.
const TOLD: usize = 20;

/// Reads captures, `-` for standard input, and forwards every event: those of several captures in the
/// order of their times. Returns which of them could not be read.
pub(super) fn read_all(
    paths: &[PathBuf],
    strict: bool,
    screen: &mut Screen,
    take: &mut dyn FnMut(Event),
) -> Vec<String> {
    let mut unread = Vec::new();
    let mut streams: Vec<(String, Box<dyn Read + Send>)> = Vec::new();
    // Known where every capture is a file.
    let mut octets = Some(0);
    for path in paths {
        if path == Path::new("-") {
            octets = None;
            streams.push(("standard input".to_owned(), Box::new(io::stdin())));
            continue;
        }
        let name = Visible::path(path).to_string();
        match File::open(path) {
            Ok(file) => {
                let known = file.metadata().ok().filter(Metadata::is_file).map(|data| data.len());
                octets = octets.zip(known).map(|(all, own)| all + own);
                streams.push((name, Box::new(file)));
            }
            Err(error) => {
                screen.bad_input(&format!("{name}: {}", Reason(error.kind())), None);
                unread.push(name);
            }
        }
    }
    let options = CaptureOptions { strict, ..CaptureOptions::default() };
    unread.extend(read(streams, octets, options, screen, take));
    unread
}

/// Reads captures, each with its name. `bytes` is how many they have, where that is known. Returns
/// the names of those of which nothing could be read.
pub(super) fn read(
    streams: Vec<(String, Box<dyn Read + Send>)>,
    octets: Option<u64>,
    options: CaptureOptions,
    screen: &mut Screen,
    take: &mut dyn FnMut(Event),
) -> Vec<String> {
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
    tellers.into_iter().filter(|teller| teller.is_unread).map(|teller| teller.name).collect()
}

/// Tells what is damaged in one capture.
#[derive(Debug)]
pub(super) struct Teller {
    name: String,
    damaged: usize,
    /// Of them, how many were told or counted aloud.
    told: usize,
    /// How many notes there were, where they are told one by one.
    listed: Option<usize>,
    /// Whether anything at all was in it.
    any: bool,
    /// Whether an item was taken.
    is_begun: bool,
    /// Whether reading it failed before anything was read.
    is_unread: bool,
    odd: Oddities,
}

impl Teller {
    /// Returns one that sums up what is odd.
    pub(super) fn new(name: String) -> Self {
        Self {
            name,
            damaged: 0,
            told: 0,
            listed: None,
            any: false,
            is_begun: false,
            is_unread: false,
            odd: Oddities::default(),
        }
    }

    /// Returns one that tells what is odd where it is met, for a command that shows every frame.
    pub(super) fn listing(name: String) -> Self {
        Self { listed: Some(0), ..Self::new(name) }
    }

    /// Returns whether there was anything to tell, or a frame.
    pub(super) const fn any(&self) -> bool {
        self.any
    }

    /// Tells what is wrong with an item; returns the event that it is.
    pub(super) fn take(&mut self, item: io::Result<Item>, screen: &mut Screen) -> Option<Event> {
        let is_first = !std::mem::replace(&mut self.is_begun, true);
        match item {
            Ok(Item::Event(event)) => {
                self.event(&event, screen);
                return Some(event);
            }
            Ok(Item::PassedOver(passed)) => {
                self.any = true;
                for words in passed.words() {
                    screen.word("note", &format!("{}: {words}", self.name));
                }
            }
            Err(error) => {
                self.is_unread |= is_first;
                self.damage(screen, &format!(": {}", Reason(error.kind())), None);
            }
        }
        None
    }

    fn event(&mut self, event: &Event, screen: &mut Screen) {
        if is_guess(event) {
            self.odd.guessed.add(|| here(event.place).to_string());
        }
        if self.listed.is_none() {
            self.odd.see(event);
        }
        self.any |= self.listed.is_none() || event.frame().is_some() || is_guess(event);
        match event.gap().map(|gap| &gap.damage) {
            Some(Damage::All(why)) => {
                let words = format!(", {}: {why}", here(event.place));
                self.damage(screen, &words, Some(why.hint()));
            }
            Some(Damage::Member(note)) => self.note(event.place, note, screen),
            None => {}
        }
        for note in &event.notes {
            self.note(event.place, note, screen);
        }
    }

    fn note(&mut self, place: Position, note: &Note, screen: &mut Screen) {
        let words = || format!(", {}: {note}", here(place));
        // Of a log's clock once is enough.
        let of_the_clock = matches!(note.remark, Remark::NoZone | Remark::NoDate);
        if note.loses_a_frame() {
            let hint =
                if let Remark::Data(error) = &note.remark { Some(error.hint()) } else { None };
            self.damage(screen, &words(), hint);
        } else if let Some(listed) = self.listed.as_mut().filter(|_| !of_the_clock) {
            *listed += 1;
            self.any = true;
            if *listed <= TOLD {
                screen.word("note", &format!("{}{}", self.name, words()));
            }
        } else {
            self.odd.note(place, note);
        }
    }

    /// Tells what was odd in what was read so far, each kind of it once.
    pub(super) fn sum_up(&mut self, screen: &mut Screen) {
        let Self { name, damaged, .. } = self;
        if *damaged > self.told.max(TOLD) {
            self.told = *damaged;
            let count = Count(*damaged, "damaged line");
            screen.bad_input(&format!("{name}: {count} in all"), None);
        }
        if let Some(more) = self.listed.and_then(|all| all.checked_sub(TOLD)).filter(|n| *n > 0) {
            screen.word("note", &format!("{name}: {more} more notes like these"));
        }
        self.odd.tell(name, screen);
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
        self.any = true;
        self.damaged += 1;
        if self.damaged <= TOLD {
            screen.bad_input(&format!("{}{words}", self.name), hint);
        } else if self.damaged == TOLD + 1 {
            let words = format!("{}: more damaged lines, not reported one by one", self.name);
            screen.bad_input(&words, None);
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
        let alone = event.found == HowFound::Alone;
        if alone {
            self.bare.add(|| place.to_string());
        }
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
            let words = format!(
                "{name}: {} found in other text by guessing, the first in {first}; --strict leaves \
                 them out",
                Count(count, "datagram")
            );
            screen.word("note", &words);
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
            let words = format!("{name}: incomplete frames, {told} (`handfast read` shows them)");
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

/// Whether an event was guessed; what is in a PUSH_DATA counts, and not the PUSH_DATA around it.
const fn is_guess(event: &Event) -> bool {
    event.found.is_in_text() && !matches!(event.what, What::Asked(Leg::Push) | What::Said(_))
}

/// A place in its own capture, which is named before it.
const fn here(place: Position) -> Position {
    Position { source: 0, ..place }
}

/// Datagrams of several gateways may come as much out of order.
const JITTER: SignedDuration = SignedDuration::from_secs(2);
