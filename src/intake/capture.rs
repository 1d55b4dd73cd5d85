//! A capture, line by line, in the memory of one line.

use std::io::{self, BufRead};

use super::{
    datagram::Datagram,
    error::IntakeError,
    forwarder,
    lines::{LINE_CAP, Lines, Raw},
    note::{Note, Remark},
    pcap::PassedOver,
    text::{FrameText, frame_text},
    texts::Texts,
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

/// Reads a capture, line by line: datagrams as JSON, messages of the station protocol, frames in hex
/// or base64, and any log in whose lines frames hide.
///
/// Blank lines, lines that begin with `#`, CR LF and a byte order mark are passed over; a damaged line becomes an
/// [`Item::Skipped`] and the next one is read. Ends after the first error of the stream itself.
///
/// In a log, lines without a frame are no damage: they are counted. What is a log shows in its first
/// lines: three lines of text before the first that is whole, or a frame that was found within text.
/// Until that is known some lines are held back.
///
/// ```
/// use handfast::intake::{CaptureLines, Item};
///
/// let text = r#"{"rxpk":[{"freq":868.1,"datr":"SF7BW125","data":"QNq7AQIAAQACx4c="}]}"#;
/// for item in CaptureLines::new(text.as_bytes()) {
///     let Item::Datagram(datagram) = item? else { continue };
///     assert_eq!(datagram.rxpk[0].freq_hz, Some(868_100_000));
/// }
/// # Ok::<(), std::io::Error>(())
/// ```
#[derive(Debug)]
pub struct CaptureLines<R> {
    lines: Lines<R>,
    ended: bool,
    strict: bool,
    /// Whether it is known to be a capture: then nothing is guessed.
    ours: bool,
    /// All that no plain capture needs.
    texts: Option<Box<Texts>>,
}

impl<R: BufRead> CaptureLines<R> {
    /// Returns the lines of the stream; frames hidden in other text are found, too.
    pub const fn new(stream: R) -> Self {
        Self { lines: Lines::new(stream), ended: false, strict: false, ours: false, texts: None }
    }

    /// Returns the lines of the stream; no frame hidden in other text is looked for.
    pub const fn strict(stream: R) -> Self {
        Self { lines: Lines::new(stream), ended: false, strict: true, ours: false, texts: None }
    }

    fn read(&mut self) -> io::Result<Option<Item>> {
        loop {
            if let Some(item) = self.texts.as_mut().and_then(|texts| texts.ready()) {
                return item.map(Some);
            }
            let raw = match self.lines.advance() {
                Ok(Some(raw)) => raw,
                Ok(None) => {
                    if self.texts.as_mut().is_some_and(|texts| texts.end(None)) {
                        continue;
                    }
                    return Ok(None);
                }
                Err(error) => match &mut self.texts {
                    Some(texts) => {
                        texts.end(Some(error));
                        continue;
                    }
                    None => return Err(error),
                },
            };
            let line = self.lines.number();
            let item = match raw {
                Raw::TooLong => {
                    Some(Item::Skipped { line, why: IntakeError::TooLong { cap: LINE_CAP } })
                }
                Raw::Whole => self.line(line),
            };
            if item.is_some() {
                return Ok(item);
            }
        }
    }

    /// Reads one line; nothing for a blank one, for a comment, and for what goes through `texts`.
    fn line(&mut self, line: u64) -> Option<Item> {
        let octets = self.lines.text();
        let lossy;
        let text = match std::str::from_utf8(octets) {
            Ok(text) => text,
            Err(e) => {
                let why = match (line, octets) {
                    (1, [0xFF, 0xFE, ..] | [0xFE, 0xFF, ..]) => IntakeError::Utf16,
                    _ => IntakeError::NotUtf8 { column: e.valid_up_to() + 1 },
                };
                if self.ours || self.strict {
                    return Some(Item::Skipped { line, why });
                }
                lossy = String::from_utf8_lossy(octets);
                self.texts.get_or_insert_default().words(&lossy, line, why);
                return None;
            }
        };
        let body = text.trim_start();
        if body.is_empty() || body.starts_with('#') {
            return None;
        }
        let looks = looks(body);
        let whole = match looks {
            Looks::Object => forwarder::capture_line(text, line).map(Item::Datagram),
            Looks::OtherJson => Err(IntakeError::NotAnObject),
            Looks::Frame => {
                frame_text(text).map(|frame| Item::Frame { line, frame }).map_err(IntakeError::Text)
            }
        };
        match &whole {
            // Nearly every line of nearly every capture.
            Ok(Item::Datagram(datagram)) if !is_hollow(datagram) => {
                if !self.ours {
                    self.ours = self.texts.as_mut().is_none_or(|texts| texts.begins());
                }
                self.in_turn(whole.ok()?)
            }
            // What a format of its own states, and nothing else.
            _ if self.strict => {
                let other = matches!(&whole, Err(IntakeError::NoDatagram));
                if other && self.texts.get_or_insert_default().message(text, line) {
                    return None;
                }
                Some(whole.unwrap_or_else(|why| Item::Skipped { line, why }))
            }
            _ => {
                let texts = self.texts.get_or_insert_default();
                match (looks, whole) {
                    (_, Ok(item)) => texts.doubtful(item, text, line, &mut self.ours),
                    (Looks::Object, Err(why @ IntakeError::NoDatagram)) => {
                        texts.json(text, line, why, &mut self.ours);
                    }
                    // Whoever begins with a brace means JSON.
                    (Looks::Object, Err(why)) => return Some(Item::Skipped { line, why }),
                    (_, Err(why)) if self.ours => return Some(Item::Skipped { line, why }),
                    (_, Err(why)) => texts.words(text, line, why),
                }
                None
            }
        }
    }

    /// What was held back comes first.
    fn in_turn(&mut self, item: Item) -> Option<Item> {
        match &mut self.texts {
            Some(texts) => {
                texts.push(item);
                None
            }
            None => Some(item),
        }
    }
}

/// Whether nothing in a datagram could be read: perhaps it is none.
fn is_hollow(datagram: &Datagram) -> bool {
    // A time that lacks its zone was read.
    let odd = |note: &Note| !matches!(note.remark, Remark::NoZone | Remark::NoDate);
    datagram.rxpk.is_empty()
        && datagram.txpk.is_none()
        && datagram.ack.is_none()
        && datagram.stat.is_none()
        && datagram.notes.iter().any(odd)
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

#[derive(Clone, Copy)]
enum Looks {
    Object,
    OtherJson,
    Frame,
}

/// Tells JSON from a frame, which may be written as `{0x40, 0xDA}` or `[0x40, 0xDA]`.
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
