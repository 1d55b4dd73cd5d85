//! A capture, line by line, in the memory of one line.

use std::{
    collections::VecDeque,
    io::{self, BufRead},
};

use super::{
    datagram::Datagram,
    error::IntakeError,
    forwarder,
    lines::{LINE_CAP, Lines, Raw},
    log,
    pcap::PassedOver,
    text::{FrameText, frame_text},
};

/// What a line of a capture holds.
#[derive(Clone, Debug, PartialEq)]
#[expect(clippy::large_enum_variant, reason = "one stands at a time, and most are datagrams")]
pub enum Item {
    /// A datagram between a gateway and its server.
    Datagram(Datagram),
    /// A frame by itself.
    Frame {
        /// The line, from 1.
        line: u64,
        /// The frame.
        frame: FrameText,
    },
    /// Lines of a log in which no frame was found: told once, at the end.
    Passed {
        /// The first of them, from 1.
        first: u64,
        /// How many there were.
        lines: u64,
    },
    /// A line that was damaged, and left out.
    Skipped {
        /// The line, from 1.
        line: u64,
        /// What is wrong with it.
        why: IntakeError,
    },
    /// What of recorded packets was passed over: at their end.
    PassedOver(PassedOver),
}

/// Reads a capture: one JSON object a line, or a frame in hex or base64; or a log in whose lines
/// frames hide.
///
/// Blank lines, lines that begin with `#`, CR LF and a byte order mark are passed over; a damaged line becomes an
/// [`Item::Skipped`] and the next one is read. Ends after the first error of the stream itself.
///
/// ```
/// use handfast::intake::{CaptureLines, Item};
///
/// let text = r#"{"rxpk":[{"freq":868.1,"datr":"SF7BW125","data":"QPF9vgIAAQACx4c="}]}"#;
/// for item in CaptureLines::new(text.as_bytes()) {
///     let Item::Datagram(datagram) = item? else { continue };
///     assert_eq!(datagram.rxpk[0].freq_hz, Some(868_100_000));
/// }
/// # Ok::<(), std::io::Error>(())
/// ```
#[derive(Debug)]
pub struct CaptureLines<R> {
    lines: Lines<R>,
    strict: bool,
    ended: bool,
    /// Datagrams of the line just read.
    ready: VecDeque<Datagram>,
    character: Character,
    /// Lines without a frame, in a log: how many, and the first with its error.
    passed: u64,
    first_passed: Option<(u64, IntakeError)>,
    /// Whether anything was found.
    found: bool,
}

/// What the first line that says something shows of the whole.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
enum Character {
    /// Nothing yet.
    Unknown,
    /// Capture lines, or frames: text that is neither is damage.
    Capture,
    /// Lines of other text, in some of which a frame hides.
    Log,
}

impl<R: BufRead> CaptureLines<R> {
    /// Returns the lines of the stream; frames hidden in other text are found, too.
    pub const fn new(stream: R) -> Self {
        Self::with(stream, false)
    }

    /// Returns the lines of the stream; no frame hidden in other text is looked for.
    pub const fn strict(stream: R) -> Self {
        Self::with(stream, true)
    }

    const fn with(stream: R, strict: bool) -> Self {
        Self {
            lines: Lines::new(stream),
            strict,
            ended: false,
            ready: VecDeque::new(),
            character: Character::Unknown,
            passed: 0,
            first_passed: None,
            found: false,
        }
    }

    fn read(&mut self) -> io::Result<Option<Item>> {
        loop {
            if let Some(datagram) = self.ready.pop_front() {
                return Ok(Some(Item::Datagram(datagram)));
            }
            let Some(raw) = self.lines.advance()? else { return Ok(self.end()) };
            let line = self.lines.number();
            let item = match raw {
                Raw::TooLong => Err(IntakeError::TooLong { cap: LINE_CAP }),
                Raw::Whole => capture_line(self.lines.text(), line),
            };
            match item {
                Ok(None) => {}
                Ok(Some(item)) => {
                    self.found = true;
                    if self.character == Character::Unknown {
                        self.character = Character::Capture;
                    }
                    return Ok(Some(item));
                }
                Err(why) => {
                    if let Some(skipped) = self.look_within(line, why) {
                        return Ok(Some(skipped));
                    }
                }
            }
        }
    }

    /// Looks for frames in a line that is none of ours; returns it as skipped where it is damage.
    fn look_within(&mut self, line: u64, why: IntakeError) -> Option<Item> {
        let skipped = |why| Some(Item::Skipped { line, why });
        let other_text = matches!(
            why,
            IntakeError::Text(_) | IntakeError::NoDatagram | IntakeError::NotAnObject
        );
        let Ok(text) = std::str::from_utf8(self.lines.text()) else { return skipped(why) };
        if self.strict || !other_text {
            return skipped(why);
        }
        self.ready.extend(log::line(text, line));
        self.found |= !self.ready.is_empty();
        if self.character == Character::Unknown {
            self.character = Character::Log;
        }
        if !self.ready.is_empty() {
            return None;
        }
        if self.character == Character::Capture {
            return skipped(why);
        }
        self.passed += 1;
        self.first_passed.get_or_insert((line, why));
        None
    }

    /// What is to be said at the end: of a log without any frame its first line is told as damage.
    fn end(&mut self) -> Option<Item> {
        let (line, why) = self.first_passed.take()?;
        let lines = std::mem::take(&mut self.passed);
        Some(if self.found {
            Item::Passed { first: line, lines }
        } else {
            Item::Skipped { line, why }
        })
    }
}

impl<R: BufRead> Iterator for CaptureLines<R> {
    type Item = io::Result<Item>;

    fn next(&mut self) -> Option<Self::Item> {
        if self.ended {
            return None;
        }
        let item = self.read().transpose();
        self.ended = !matches!(item, Some(Ok(_)));
        item
    }
}

/// Reads one line; `None` for a blank one and for a comment.
fn capture_line(octets: &[u8], line: u64) -> Result<Option<Item>, IntakeError> {
    let text = std::str::from_utf8(octets)
        .map_err(|e| IntakeError::NotUtf8 { column: e.valid_up_to() + 1 })?;
    let body = text.trim_start();
    if body.is_empty() || body.starts_with('#') {
        return Ok(None);
    }
    match looks(body) {
        Looks::Object => forwarder::capture_line(text, line).map(|d| Some(Item::Datagram(d))),
        Looks::OtherJson => Err(IntakeError::NotAnObject),
        Looks::Frame => frame_text(text)
            .map(|frame| Some(Item::Frame { line, frame }))
            .map_err(IntakeError::Text),
    }
}

enum Looks {
    Object,
    OtherJson,
    Frame,
}

/// Tells JSON from a frame, which may be written as `{0x40, 0xF1}` or `[0x40, 0xF1]`.
fn looks(body: &str) -> Looks {
    if let Some(rest) = body.strip_prefix('{') {
        return match rest.trim_start().chars().next() {
            None | Some('"' | '}') => Looks::Object,
            Some(_) => Looks::Frame,
        };
    }
    let list = body.strip_prefix('[').map(str::trim_start);
    if body.starts_with('"') || list.is_some_and(|rest| rest.starts_with(['{', '"', '['])) {
        return Looks::OtherJson;
    }
    Looks::Frame
}
