//! Captures as commands read them: datagram by datagram; what is damaged is told by its line.

use std::{
    fs::File,
    io::{self, BufRead, BufReader},
    path::{Path, PathBuf},
};

use super::Screen;
use crate::intake::{CaptureLines, Datagram, Item};

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
            read(source, "standard input", io::stdin().lock(), screen, take);
            continue;
        }
        match File::open(path) {
            Ok(file) => read(source, &name, BufReader::new(file), screen, take),
            Err(error) => screen.bad_input(&format!("{name}: {error}"), None),
        }
    }
}

/// Reads one capture.
pub(super) fn read(
    source: u16,
    name: &str,
    input: impl BufRead,
    screen: &mut Screen,
    take: &mut dyn FnMut(u16, &Datagram),
) {
    let mut damaged = 0usize;
    let mut bare = 0usize;
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
    for item in CaptureLines::new(input) {
        match item {
            Ok(Item::Datagram(datagram)) => {
                for note in datagram.notes.iter().filter(|note| note.loses_a_frame()) {
                    tell(screen, format!("{name}, line {}: {note}", datagram.line), None);
                }
                take(source, &datagram);
            }
            Ok(Item::Frame { .. }) => bare += 1,
            Ok(Item::Skipped { line, why }) => {
                tell(screen, format!("{name}, line {line}: {why}"), Some(why.hint()));
            }
            Err(error) => {
                tell(screen, format!("{name}: {error}"), None);
                break;
            }
        }
    }
    if bare > 0 {
        screen.word(
            "note",
            &format!(
                "{name}: {bare} bare frames passed over: without gateway, time and direction they \
                 are for `handfast read`"
            ),
        );
    }
}
