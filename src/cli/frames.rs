//! Where the frames of a command come from: arguments, standard input, files.
//!
//! Files and standard input may hold capture lines and frames in hex or base64, mixed; no more than a
//! line is held at a time. Whatever is not whole is told and passed over.

use std::{
    fs::File,
    io::{self, Read},
    path::{Path, PathBuf},
    thread,
    time::Duration,
};

use jiff::Timestamp;

use super::{
    Screen, UsageError,
    captures::Teller,
    feed::{Fed, Feed},
    follow::{Follow, Renewal},
    mistyped, signals,
};
use crate::{
    frame::{Decoded, Direction, decode},
    intake::{CaptureOptions, Encoding, Event, Holdings, LoraTap, Unit, What, frame_text},
    show::{Input, Radio},
    words::Visible,
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
            Some(line) => format!("{}, {} {line}", Visible::text(&self.name), self.unit),
            None => format!("{} {}", Visible::text(&self.name), self.index + 1),
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
    /// A file that is read on as it grows, and what replaces it.
    followed: Option<(PathBuf, Renewal)>,
    /// Whether it was said that nothing is at hand.
    is_idle: bool,
}

/// What a command meets.
#[derive(Debug)]
pub enum Met {
    /// A frame, and where it is.
    Frame(Box<(InputFrame, Decoded)>),
    /// The next one has to be waited for: what is known is to be shown.
    Idle,
}

impl Met {
    fn frame(met: InputFrame, frame: Decoded) -> Self {
        Self::Frame(Box::new((met, frame)))
    }
}

impl Frames {
    /// Returns the frames of texts, of `-` for standard input, and of files.
    ///
    /// A text that names a file, a pipe or a folder and is not hex is taken for that. Several texts of one byte each
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

    /// Returns whether nothing at all was met.
    pub const fn is_empty(&self) -> bool {
        !self.any
    }

    /// Returns what was met besides frames.
    pub const fn holdings(&self) -> &Holdings {
        &self.holdings
    }

    /// Returns the next frame. What is not quite right before it is told, what is not a frame is told
    /// and passed over.
    pub fn next(&mut self, screen: &mut Screen) -> Option<Met> {
        loop {
            let Some(open) = &mut self.open else {
                match self.sources.next()? {
                    Source::Text(text) => {
                        if let Some((met, frame)) = self.argument(&text, screen) {
                            return Some(Met::frame(met, frame));
                        }
                    }
                    Source::Stdin => self.read("stdin".into(), Box::new(io::stdin()), None),
                    Source::File(path) => self.file(path, screen),
                }
                continue;
            };
            // What came with a frame and is none must not keep it from being shown.
            if open.items.is_idle() && !std::mem::replace(&mut open.is_idle, true) {
                return Some(Met::Idle);
            }
            let Some(Fed { item, .. }) = open.items.next() else {
                open.teller.sum_up(screen);
                self.any |= open.teller.any();
                let followed = self.open.take().and_then(|open| open.followed);
                if let Some((path, renewal)) = followed {
                    self.renew(path, &renewal, screen);
                }
                continue;
            };
            open.is_idle = false;
            let Some(event) = open.teller.take(item, screen) else { continue };
            self.holdings.take(&event);
            // The same frame, for the window after the one that was shown: one order, and one transmission.
            if matches!(&event.what, What::Ordered(ordered) if ordered.alternative) {
                continue;
            }
            let met = InputFrame::of(&event, &open.name, open.frames);
            if let Some(frame) = event.into_frame() {
                open.frames += 1;
                return Some(Met::frame(met, frame));
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
        let opened = if self.follow {
            Follow::open(path.clone()).map(|(follow, renewal)| {
                self.read(name, Box::new(follow), Some((path.clone(), renewal)));
            })
        } else {
            File::open(&path).map(|file| self.read(name, Box::new(file), None))
        };
        if let Err(error) = opened {
            self.any = true;
            screen.bad_input(&UsageError::File { path, error }, None);
        }
    }

    /// Reads what has replaced a file that was followed.
    fn renew(&mut self, path: PathBuf, renewal: &Renewal, screen: &mut Screen) {
        if signals::is_stopped() {
            return;
        }
        let name = Visible::path(&path).to_string();
        let Some(how) = renewal.take() else {
            screen.word(
                "note",
                &format!("{name}: it has an end of its own; what is added is not read"),
            );
            return;
        };
        screen.word("note", &format!("{name}: {how}: it is read from its start"));
        // Between two files of one name there may be none.
        while !path.exists() && !signals::is_stopped() {
            thread::sleep(PAUSE);
        }
        if !signals::is_stopped() {
            self.file(path, screen);
        }
    }

    /// Opens an input; none of its frames is read yet.
    fn read(
        &mut self,
        name: String,
        stream: Box<dyn Read + Send>,
        followed: Option<(PathBuf, Renewal)>,
    ) {
        let options = CaptureOptions { strict: self.strict, ..CaptureOptions::default() };
        let items = Feed::new(vec![stream], options);
        let teller = Teller::listing(Visible::text(&name).to_string());
        self.open = Some(Opened { name, items, frames: 0, teller, followed, is_idle: false });
    }
}

/// Between two looks for a file.
const PAUSE: Duration = Duration::from_millis(50);
