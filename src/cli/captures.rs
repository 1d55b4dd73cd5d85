//! Captures as commands read them: datagram by datagram; what is damaged is told by its line.

use std::{
    fs::File,
    io::{self, Read},
    path::{Path, PathBuf},
};

use jiff::{SignedDuration, Timestamp};

use super::Screen;
use crate::{
    frame::decode,
    intake::{Capture, Crc, Datagram, Item, OpenOptions, PassedOver},
    words::{Count, Reason},
};

/// How many damaged lines are told one by one.
const TOLD: usize = 20;

/// Reads captures one after another, `-` for standard input, and hands on every datagram with the
/// number of its capture, from 0.
pub(super) fn read_all(
    paths: &[PathBuf],
    screen: &mut Screen,
    take: &mut dyn FnMut(u16, &Datagram),
) {
    for (source, path) in (0u16..).zip(paths) {
        let name = path.display().to_string();
        if path == Path::new("-") {
            read(source, "standard input", Box::new(io::stdin()), screen, take);
            continue;
        }
        match File::open(path) {
            Ok(file) => read(source, &name, Box::new(file), screen, take),
            Err(error) => screen.bad_input(&format!("{name}: {}", Reason(error.kind())), None),
        }
    }
}

/// Reads one capture.
pub(super) fn read(
    source: u16,
    name: &str,
    input: Box<dyn Read + Send>,
    screen: &mut Screen,
    take: &mut dyn FnMut(u16, &Datagram),
) {
    let mut damaged = 0usize;
    let mut tell = |screen: &mut Screen, words: String, hint: Option<&str>| {
        damaged += 1;
        match damaged {
            1..=TOLD => screen.bad_input(&words, hint),
            _ if damaged == TOLD + 1 => {
                screen.bad_input(&format!("{name}: more damaged lines, not told one by one"), None);
            }
            _ => {}
        }
    };
    let mut odd = Oddities::default();
    let mut items = Capture::open(input, OpenOptions::default());
    while let Some(item) = items.next() {
        let unit = items.unit();
        match item {
            Ok(Item::Datagram(datagram)) => {
                for note in datagram.notes.iter().filter(|note| note.loses_a_frame()) {
                    tell(screen, format!("{name}, {unit} {}: {note}", datagram.line), None);
                }
                odd.see(&datagram);
                take(source, &datagram);
            }
            Ok(Item::Frame { .. }) => odd.bare += 1,
            Ok(Item::Skipped { line, why }) => {
                tell(screen, format!("{name}, {unit} {line}: {why}"), Some(why.hint()));
            }
            Err(error) => {
                tell(screen, format!("{name}: {}", Reason(error.kind())), None);
                break;
            }
        }
    }
    odd.tell(name, screen);
    for words in items.passed_over().map(PassedOver::words).unwrap_or_default() {
        screen.word("note", &format!("{name}: {words}"));
    }
}

/// What was taken or passed over without being damage: told once a capture, by the first of its kind.
#[derive(Debug, Default)]
struct Oddities {
    bare: usize,
    cut: Kind,
    left_out: Kind,
    backwards: Kind,
    latest: Option<Timestamp>,
}

/// How many there were, and the first.
#[derive(Debug, Default)]
struct Kind {
    count: usize,
    first: Option<String>,
}

impl Kind {
    fn add(&mut self, first: impl FnOnce() -> String) {
        self.count += 1;
        self.first.get_or_insert_with(first);
    }

    /// Returns the first and how many more there were.
    fn told(&self) -> Option<String> {
        let first = self.first.as_ref()?;
        Some(match self.count - 1 {
            0 => first.clone(),
            more => format!("{first}; {more} more"),
        })
    }
}

impl Oddities {
    fn see(&mut self, datagram: &Datagram) {
        let (unit, line) = (datagram.unit, datagram.line);
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

    fn tell(&self, name: &str, screen: &mut Screen) {
        if let Some(told) = self.backwards.told() {
            let words = format!(
                "{name}: times go backwards at {told}: a clock was set, or lines are out of order; \
                 `diagnose` takes them in the order of their times, `airtime` as they stand"
            );
            screen.word("caution", &words);
        }
        if let Some(told) = self.left_out.told() {
            let words = format!("{name}: members left out, {told} (`handfast read` lists them)");
            screen.word("note", &words);
        }
        if let Some(told) = self.cut.told() {
            let words = format!("{name}: frames not whole, {told} (`handfast read` shows them)");
            screen.word("note", &words);
        }
        if self.bare > 0 {
            let words = format!(
                "{name}: {} passed over: without gateway, time and direction they are for \
                 `handfast read`",
                Count(self.bare, "bare frame")
            );
            screen.word("note", &words);
        }
    }
}

/// Datagrams of several gateways may come as much out of order.
const JITTER: SignedDuration = SignedDuration::from_secs(2);
