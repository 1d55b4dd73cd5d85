//! Where the frames of a command come from: arguments, standard input, files.
//!
//! Files and standard input may hold capture lines and frames in hex or base64, mixed; no more than a
//! line is held at a time. Whatever is not whole is told and passed over.

use std::{
    collections::VecDeque,
    fs::File,
    io::{self, Read},
    path::{Path, PathBuf},
};

use jiff::Timestamp;

use super::{
    UsageError,
    captures::{TOLD, damaged_in_all, more_damaged},
    feed::{Fed, Feed},
    follow::Follow,
};
use crate::{
    frame::{Decoded, Direction, decode},
    intake::{
        CaptureOptions, Damage, Encoding, Event, Item, Leg, Leniency, LoraTap, Note, Position,
        Remark, Unit, What, frame_text,
    },
    show::{Input, Radio},
    words::Count,
};

/// Oddities of one input that are told one by one; a long capture may have one on every line.
const NOTES_TOLD: u64 = 20;

/// Where a command meets a frame, and what is known of it besides its bytes.
#[derive(Clone, Debug, PartialEq)]
pub struct InputFrame {
    /// The input: `argument`, `stdin`, a path.
    pub name: String,
    /// The place of the frame among those of that input, from 0.
    pub index: usize,
    /// The line or packet of a file or of standard input, from 1.
    pub line: Option<u64>,
    /// What `line` counts.
    pub unit: Unit,
    /// The way it travelled, where the input says so.
    pub direction: Option<Direction>,
    /// What the gateway says of it.
    pub radio: Option<Radio>,
    /// When it was captured.
    pub at: Option<Timestamp>,
    /// What the gateway says of it, as it is recorded.
    pub tap: LoraTap,
}

impl InputFrame {
    /// Returns an argument.
    fn argument(index: usize) -> Self {
        Self {
            name: "argument".to_owned(),
            index,
            line: None,
            unit: Unit::Line,
            direction: None,
            radio: None,
            at: None,
            tap: LoraTap::unheard(),
        }
    }

    /// Returns where an event was met.
    fn of(event: &Event, name: &str, index: usize) -> Self {
        Self {
            name: name.to_owned(),
            index,
            line: Some(event.place.number),
            unit: event.place.unit,
            direction: event.direction(),
            radio: Radio::of(event),
            at: event.time,
            tap: LoraTap::of(event),
        }
    }

    /// Returns where it was found, for a report.
    pub fn input(&self) -> Input<'_> {
        let radio = self.radio.as_ref();
        Input { name: &self.name, index: self.index, line: self.line, unit: self.unit, radio }
    }

    /// Returns where it was found, in front of an error.
    pub fn place(&self) -> String {
        match self.line {
            Some(line) => format!("{}, {} {line}", self.name, self.unit),
            None => format!("{} {}", self.name, self.index + 1),
        }
    }
}

/// What a command meets in its inputs.
#[derive(Debug)]
pub enum Met {
    /// A frame.
    Frame(InputFrame, Decoded),
    /// Something that was accepted although it is not quite right.
    Noted(String),
    /// Something that is no frame, and was passed over.
    Damaged {
        /// Where, and what is wrong.
        error: String,
        /// What a right one looks like.
        hint: Option<&'static str>,
    },
    /// An input that cannot be read.
    Unreadable(UsageError),
}

/// One input of a command.
#[derive(Clone, Debug, Eq, PartialEq)]
enum Source {
    Text(String),
    Stdin,
    File(PathBuf),
}

/// The frames of all inputs, one after another.
#[derive(Debug)]
pub struct Frames {
    sources: std::vec::IntoIter<Source>,
    follow: bool,
    strict: bool,
    arguments: usize,
    open: Option<Lines>,
    ready: VecDeque<Met>,
}

struct Lines {
    name: String,
    items: Feed,
    frames: usize,
    notes: u64,
    damaged: usize,
    guessed: usize,
    first_guessed: Option<u64>,
    clock_told: bool,
}

impl std::fmt::Debug for Lines {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Lines").field("name", &self.name).finish_non_exhaustive()
    }
}

impl Frames {
    /// Returns the frames of texts, of `-` for standard input, and of files.
    ///
    /// A text that names a file, a pipe or a folder and is no hex is taken for that. Several texts of one octet each
    /// are one frame whose quotes were forgotten.
    pub fn new(texts: &[String], files: &[PathBuf]) -> Self {
        let loose = texts.len() > 1
            && texts.iter().all(|t| t.len() <= 2 && t.bytes().all(|b| b.is_ascii_hexdigit()));
        let texts = if loose { vec![texts.join(" ")] } else { texts.to_vec() };
        let is_hex = |text: &str| frame_text(text).is_ok_and(|t| t.encoding == Encoding::Hex);
        let texts = texts.into_iter().map(|text| match text.as_str() {
            "-" => Source::Stdin,
            path if Path::new(path).exists() && !is_hex(path) => Source::File(path.into()),
            _ => Source::Text(text),
        });
        let files = files.iter().map(|path| {
            if path.as_os_str() == "-" { Source::Stdin } else { Source::File(path.clone()) }
        });
        let sources: Vec<_> = texts.chain(files).collect();
        let (open, ready) = (None, VecDeque::new());
        Self {
            sources: sources.into_iter(),
            follow: false,
            strict: false,
            arguments: 0,
            open,
            ready,
        }
    }

    /// Says whether frames hidden in other text are left out.
    pub const fn strict(&mut self, strict: bool) {
        self.strict = strict;
    }

    /// Says whether files are read on as they grow.
    pub const fn follow(&mut self, follow: bool) {
        self.follow = follow;
    }

    /// Returns whether there is at most one frame, which then needs no heading.
    pub fn is_single(&self) -> bool {
        matches!(self.sources.as_slice(), [Source::Text(_)])
    }

    /// Returns whether the next frame would have to be waited for.
    pub fn is_idle(&mut self) -> bool {
        let idle = |lines: &mut Lines| lines.items.is_idle();
        self.ready.is_empty() && self.open.as_mut().is_some_and(idle)
    }

    fn open(&mut self, source: Source) {
        let (name, stream): (_, Box<dyn Read + Send>) = match source {
            Source::Text(text) => return self.argument(&text),
            Source::Stdin => ("stdin".into(), Box::new(io::stdin())),
            Source::File(path) => match File::open(&path) {
                Ok(file) if self.follow => {
                    (path.display().to_string(), Box::new(Follow::new(path, file)))
                }
                Ok(file) => (path.display().to_string(), Box::new(file)),
                Err(error) => {
                    let error = UsageError::File { path, error };
                    return self.ready.push_back(Met::Unreadable(error));
                }
            },
        };
        let options = CaptureOptions { strict: self.strict, ..CaptureOptions::default() };
        let items = Feed::new(vec![stream], options);
        self.open = Some(Lines {
            name,
            items,
            frames: 0,
            notes: 0,
            damaged: 0,
            guessed: 0,
            first_guessed: None,
            clock_told: false,
        });
    }

    fn argument(&mut self, text: &str) {
        let index = self.arguments;
        self.arguments += 1;
        let place = format!("argument {}", index + 1);
        match frame_text(text) {
            Ok(text) => {
                self.ready.extend(text.leniencies.iter().map(|l| Met::Noted(lenient(&place, l))));
                let frame = decode(&text.octets);
                self.ready.push_back(Met::Frame(InputFrame::argument(index), frame));
            }
            Err(error) => {
                let hint = Some(error.hint());
                let error = format!("{place}: {error}");
                self.ready.push_back(Met::Damaged { error, hint });
            }
        }
    }
}

impl Iterator for Frames {
    type Item = Met;

    fn next(&mut self) -> Option<Met> {
        loop {
            if let Some(met) = self.ready.pop_front() {
                return Some(met);
            }
            let Some(lines) = &mut self.open else {
                let source = self.sources.next()?;
                self.open(source);
                continue;
            };
            match lines.items.next() {
                Some(Fed { item: Ok(item), .. }) => lines.take(item, &mut self.ready),
                Some(Fed { item: Err(error), .. }) => {
                    let path = lines.name.clone().into();
                    self.ready.push_back(Met::Unreadable(UsageError::File { path, error }));
                    self.open = None;
                }
                None => {
                    let more = lines.notes.saturating_sub(NOTES_TOLD);
                    if more > 0 {
                        let text = format!("{}: {more} more notes like these", lines.name);
                        self.ready.push_back(Met::Noted(text));
                    }
                    ready_guesses(lines, &mut self.ready);
                    if lines.damaged > TOLD {
                        let error = damaged_in_all(&lines.name, lines.damaged);
                        self.ready.push_back(Met::Damaged { error, hint: None });
                    }
                    self.open = None;
                }
            }
        }
    }
}

impl Lines {
    fn take(&mut self, item: Item, ready: &mut VecDeque<Met>) {
        let event = match item {
            Item::Event(event) => event,
            Item::PassedOver(passed) => {
                let words = passed.words().into_iter();
                ready.extend(words.map(|words| Met::Noted(format!("{}: {words}", self.name))));
                return;
            }
        };
        if is_guess(&event) {
            self.guessed += 1;
            self.first_guessed.get_or_insert(event.place.number);
        }
        match event.gap().map(|gap| &gap.damage) {
            Some(Damage::All(why)) => {
                let error = format!("{}: {why}", self.place(event.place));
                self.damage(error, Some(why.hint()), ready);
            }
            Some(Damage::Member(note)) => self.note(event.place, note, ready),
            _ => {}
        }
        for note in &event.notes {
            self.note(event.place, note, ready);
        }
        let met = InputFrame::of(&event, &self.name, self.frames);
        if let Some(frame) = event.into_frame() {
            self.frames += 1;
            ready.push_back(Met::Frame(met, frame));
        }
    }

    fn note(&mut self, place: Position, note: &Note, ready: &mut VecDeque<Met>) {
        // Of a log's clock once is enough.
        if matches!(note.remark, Remark::NoZone | Remark::NoDate)
            && std::mem::replace(&mut self.clock_told, true)
        {
            return;
        }
        let error = format!("{}: {note}", self.place(place));
        if note.loses_a_frame() {
            self.damage(error, hint(note), ready);
        } else {
            self.notes += 1;
            if self.notes <= NOTES_TOLD {
                ready.push_back(Met::Noted(error));
            }
        }
    }

    fn place(&self, Position { unit, number, .. }: Position) -> String {
        format!("{}, {unit} {number}", self.name)
    }

    fn damage(&mut self, error: String, hint: Option<&'static str>, ready: &mut VecDeque<Met>) {
        self.damaged += 1;
        if self.damaged <= TOLD {
            ready.push_back(Met::Damaged { error, hint });
        } else if self.damaged == TOLD + 1 {
            ready.push_back(Met::Damaged { error: more_damaged(&self.name), hint: None });
        }
    }
}

/// What was found in lines of text, told once an input.
fn ready_guesses(lines: &Lines, ready: &mut VecDeque<Met>) {
    if let Some(first) = lines.first_guessed {
        let text = guesses(&lines.name, lines.guessed, &format!("line {first}"));
        ready.push_back(Met::Noted(text));
    }
}

/// Whether an event was guessed; what is in a PUSH_DATA counts, and not the PUSH_DATA around it.
pub(super) const fn is_guess(event: &Event) -> bool {
    event.found.is_in_text() && !matches!(event.what, What::Asked(Leg::Push) | What::Said(_))
}

/// How many datagrams were guessed, and how to leave them out.
pub(super) fn guesses(name: &str, count: usize, first: &str) -> String {
    format!(
        "{name}: {} found in other text by guessing, the first in {first}; --strict leaves them out",
        Count(count, "datagram")
    )
}

fn lenient(place: &str, leniency: &Leniency) -> String {
    format!("{place}: {leniency}; it was taken")
}

const fn hint(note: &Note) -> Option<&'static str> {
    match &note.remark {
        Remark::Data(error) => Some(error.hint()),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn octets_whose_quotes_were_forgotten_are_one_frame() {
        let texts: Vec<_> = ["40", "da", "BB"].map(String::from).into();
        let met: Vec<_> = Frames::new(&texts, &[]).collect();
        let [Met::Frame(_, frame)] = met.as_slice() else { panic!("{met:?}") };
        assert_eq!(frame.octets, [0x40, 0xDA, 0xBB]);
    }

    #[test]
    fn what_is_not_quite_right_is_told_before_the_frame() {
        let met: Vec<_> = Frames::new(&["QNq7AA".into(), "40da!b".into()], &[]).collect();
        let [Met::Noted(note), Met::Frame(..), Met::Damaged { error, .. }] = met.as_slice() else {
            panic!("{met:?}")
        };
        assert_eq!(note, "argument 1: base64 without its padding; it was taken");
        assert!(error.starts_with("argument 2: character 5 "), "{error}");
    }
}
