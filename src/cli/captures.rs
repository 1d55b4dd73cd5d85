//! Captures as commands read them: datagram by datagram; what is damaged is told by its line.

use std::{
    fs::{File, Metadata},
    io::{self, Read},
    path::{Path, PathBuf},
};

use jiff::{SignedDuration, Timestamp};

use super::{
    Screen,
    feed::{Fed, Feed},
    frames::{guesses, passed},
    progress::Progress,
};
use crate::{
    frame::decode,
    intake::{Crc, Datagram, Item, OpenOptions, Remark, Unit, bare_frame},
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

/// Reads captures, `-` for standard input, and hands on every datagram with the number of its
/// capture, from 0: those of several captures in the order of their times.
pub(super) fn read_all(
    paths: &[PathBuf],
    strict: bool,
    screen: &mut Screen,
    take: &mut dyn FnMut(u16, Datagram),
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
    read(streams, octets, OpenOptions { strict }, screen, take);
}

/// Reads captures, each with its name. `octets` is how many they have, where that is known.
pub(super) fn read(
    streams: Vec<(String, Box<dyn Read + Send>)>,
    octets: Option<u64>,
    options: OpenOptions,
    screen: &mut Screen,
    take: &mut dyn FnMut(u16, Datagram),
) {
    let (names, streams): (Vec<String>, Vec<_>) = streams.into_iter().unzip();
    let mut tellers: Vec<Teller> = names.into_iter().map(Teller::new).collect();
    let mut progress = Progress::new(octets);
    let mut feed = Feed::new(streams, options);
    while let Some(Fed { source, unit, item }) = feed.next() {
        progress.step(&feed);
        let Some(teller) = tellers.get_mut(usize::from(source)) else { continue };
        if let Some(datagram) = teller.take(unit, item, screen) {
            take(source, datagram);
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

    /// Tells what is wrong with an item; returns the datagram that it is.
    pub(super) fn take(
        &mut self,
        unit: Unit,
        item: io::Result<Item>,
        screen: &mut Screen,
    ) -> Option<Datagram> {
        self.any = true;
        match item {
            Ok(Item::Datagram(datagram)) => {
                for note in datagram.notes.iter().filter(|note| note.loses_a_frame()) {
                    self.damage(screen, &format!(", {unit} {}: {note}", datagram.line), None);
                }
                self.odd.see(&datagram);
                return Some(datagram);
            }
            Ok(Item::Frame { line, frame }) => {
                self.odd.bare.add(|| format!("{unit} {line}"));
                return Some(bare_frame(frame.octets, line));
            }
            Ok(Item::Passed { first, lines }) => {
                let words = passed(&self.name, lines, first);
                screen.word("note", &words);
            }
            Ok(Item::PassedOver(passed)) => {
                for words in passed.words() {
                    screen.word("note", &format!("{}: {words}", self.name));
                }
            }
            Ok(Item::Skipped { line, why }) => {
                self.damage(screen, &format!(", {unit} {line}: {why}"), Some(why.hint()));
                return Some(Datagram::damaged(unit, line));
            }
            Err(error) => self.damage(screen, &format!(": {}", Reason(error.kind())), None),
        }
        None
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
    bare: Kind,
    cut: Kind,
    left_out: Kind,
    backwards: Kind,
    guessed: Kind,
    dateless: Kind,
    told: Kind,
    zoneless: Kind,
    latest: Option<Timestamp>,
}

/// How many there were, and the first.
#[derive(Debug, Default)]
struct Kind {
    count: usize,
    first: Option<String>,
    told: bool,
}

impl Kind {
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
    fn see(&mut self, datagram: &Datagram) {
        let (unit, line) = (datagram.unit, datagram.line);
        for note in &datagram.notes {
            match note.remark {
                Remark::Guessed => self.guessed.add(|| format!("{unit} {line}")),
                Remark::NoZone => self.zoneless.add(|| format!("{unit} {line}")),
                Remark::NoDate => self.dateless.add(|| format!("{unit} {line}")),
                Remark::Told(_) => self.told.add(|| format!("{unit} {line}: {note}")),
                _ => {}
            }
        }
        for note in datagram.notes.iter().filter(|note| note.leaves_a_member_out()) {
            self.left_out.add(|| format!("{unit} {line}: {note}"));
        }
        let heard = datagram.rxpk.iter().filter(|up| up.crc != Crc::Bad).map(|up| &up.octets);
        for octets in heard.chain(datagram.txpk.iter().map(|down| &down.octets)) {
            if let Some(error) = decode(octets).stopped {
                self.cut.add(|| format!("{unit} {line}: {error}"));
            }
        }
        let Some(at) = datagram.at else { return };
        match self.latest {
            Some(latest) if latest.duration_since(at) > JITTER => {
                self.backwards.add(|| format!("{unit} {line} ({at} after {latest})"));
                self.latest = Some(at);
            }
            Some(latest) => self.latest = Some(latest.max(at)),
            None => self.latest = Some(at),
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

/// Datagrams of several gateways may come as much out of order.
const JITTER: SignedDuration = SignedDuration::from_secs(2);
