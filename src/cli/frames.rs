//! Where the frames of a command come from: arguments, standard input, files.
//!
//! Files and standard input may hold capture lines and frames in hex or base64, mixed; no more than a
//! line is held at a time. Whatever is not whole is told and passed over.

use std::{
    fs::File,
    io::{self, Read},
    path::{Path, PathBuf},
};

use jiff::Timestamp;

use super::{
    Screen, UsageError,
    captures::Teller,
    feed::{Fed, Feed},
    follow::Follow,
    mistyped,
};
use crate::{
    frame::{Decoded, Direction, decode},
    intake::{CaptureOptions, Encoding, Event, Holdings, LoraTap, Unit, frame_text},
    show::{Input, Radio},
};

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
    open: Option<Opened>,
    any: bool,
    /// What is in captures besides frames.
    holdings: Holdings,
}

/// An input that is read.
#[derive(Debug)]
struct Opened {
    name: String,
    items: Feed,
    frames: usize,
    teller: Teller,
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
        Self {
            sources: sources.into_iter(),
            follow: false,
            strict: false,
            arguments: 0,
            open: None,
            any: false,
            holdings: Holdings::default(),
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
        self.open.as_mut().is_some_and(|open| open.items.is_idle())
    }

    /// Returns whether nothing at all was met.
    pub const fn is_empty(&self) -> bool {
        !self.any
    }

    /// Returns what was met besides frames.
    pub const fn holdings(&self) -> &Holdings {
        &self.holdings
    }

    /// Returns the next frame. What is not quite right before it is told, what is no frame is told
    /// and passed over.
    pub fn next(&mut self, screen: &mut Screen) -> Option<(InputFrame, Decoded)> {
        loop {
            let Some(open) = &mut self.open else {
                match self.sources.next()? {
                    Source::Text(text) => {
                        if let Some(found) = self.argument(&text, screen) {
                            return Some(found);
                        }
                    }
                    Source::Stdin => self.read("stdin".into(), Box::new(io::stdin())),
                    Source::File(path) => self.file(path, screen),
                }
                continue;
            };
            let Some(Fed { item, .. }) = open.items.next() else {
                open.teller.sum_up(screen);
                self.any |= open.teller.any();
                self.open = None;
                continue;
            };
            let Some(event) = open.teller.take(item, screen) else { continue };
            self.holdings.take(&event);
            let met = InputFrame::of(&event, &open.name, open.frames);
            if let Some(frame) = event.into_frame() {
                open.frames += 1;
                return Some((met, frame));
            }
        }
    }

    fn argument(&mut self, text: &str, screen: &mut Screen) -> Option<(InputFrame, Decoded)> {
        let index = self.arguments;
        (self.arguments, self.any) = (index + 1, true);
        let place = format!("argument {}", index + 1);
        match frame_text(text) {
            Ok(text) => {
                for leniency in text.leniencies {
                    screen.word("note", &format!("{place}: {leniency}; it was taken"));
                }
                Some((InputFrame::argument(index), decode(&text.octets)))
            }
            Err(_) if mistyped::names_a_file(text) => {
                screen.bad_input(&format!("{text}: no such file, and not a frame"), None);
                None
            }
            Err(error) => {
                screen.bad_input(&format!("{place}: {error}"), Some(error.hint()));
                None
            }
        }
    }

    fn file(&mut self, path: PathBuf, screen: &mut Screen) {
        let name = path.display().to_string();
        match File::open(&path) {
            Ok(file) if self.follow => self.read(name, Box::new(Follow::new(path, file))),
            Ok(file) => self.read(name, Box::new(file)),
            Err(error) => {
                self.any = true;
                screen.bad_input(&UsageError::File { path, error }, None);
            }
        }
    }

    /// Opens an input; none of its frames is read yet.
    fn read(&mut self, name: String, stream: Box<dyn Read + Send>) {
        let options = CaptureOptions { strict: self.strict, ..CaptureOptions::default() };
        let items = Feed::new(vec![stream], options);
        let teller = Teller::listing(name.clone());
        self.open = Some(Opened { name, items, frames: 0, teller });
    }
}
