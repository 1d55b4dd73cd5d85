//! A capture of lines, in the memory of one line.

use std::io::{self, BufRead};

use super::{
    error::IntakeError,
    event::{Damage, Event, Position, What},
    forwarder,
    item::Item,
    lines::{LINE_CAP, Lines, Raw},
    note::{Note, Remark},
    text::frame_text,
    texts::Texts,
};

/// Reads a capture, line by line: datagrams as JSON, messages of the station protocol, frames in hex
/// or base64, and any log in whose lines frames hide.
///
/// Blank lines, lines that begin with `#`, CR LF and a byte order mark are passed over; a damaged line becomes a
/// gap and the next one is read. Ends after the first error of the stream itself.
///
/// In a log, lines without a frame are no damage: they are counted. What is a log shows in its first
/// lines: three lines of text before the first that is whole, or a frame that was found within text.
/// Until that is known some lines are held back.
#[derive(Debug)]
pub(super) struct TextCapture<R> {
    lines: Lines<R>,
    /// The events of one line.
    read: Vec<Event>,
    texts: Texts,
    failed: Option<io::Error>,
    ended: bool,
}

impl<R: BufRead> TextCapture<R> {
    /// Returns the lines of the stream; `strict` looks for no frames hidden in other text.
    pub(super) fn new(stream: R, strict: bool) -> Self {
        let (lines, texts) = (Lines::new(stream), Texts::new(strict));
        Self { lines, read: Vec::new(), texts, failed: None, ended: false }
    }

    fn advance(&mut self) {
        let raw = self.lines.advance();
        let place = Position::line(self.lines.number());
        match raw {
            Ok(Some(Raw::Whole)) => self.line(place),
            Ok(Some(Raw::TooLong)) => {
                self.texts.damage(place, IntakeError::TooLong { cap: LINE_CAP });
            }
            end => {
                self.failed = end.err();
                self.texts.end();
                self.ended = true;
            }
        }
    }

    fn line(&mut self, place: Position) {
        let octets = self.lines.text();
        let text = match std::str::from_utf8(octets) {
            Ok(text) => text,
            Err(e) => {
                let why = match (place.number, octets) {
                    (1, [0xFF, 0xFE, ..] | [0xFE, 0xFF, ..]) => IntakeError::Utf16,
                    _ => IntakeError::NotUtf8 { column: e.valid_up_to() + 1 },
                };
                return self.texts.words(&String::from_utf8_lossy(octets), place, why);
            }
        };
        let body = text.trim_start();
        if body.is_empty() || body.starts_with('#') {
            return;
        }
        match looks(body) {
            Looks::Object => {
                self.read.clear();
                match forwarder::capture_line(text, place, &mut self.read) {
                    // Nearly every line of nearly every capture.
                    Ok(()) if !is_hollow(&self.read) => self.texts.whole(&mut self.read),
                    Ok(()) => self.texts.hollow(&mut self.read, text, place),
                    Err(IntakeError::NoDatagram) => self.texts.json(text, place),
                    // Whoever begins with a brace means JSON.
                    Err(why) => self.texts.damage(place, why),
                }
            }
            Looks::OtherJson => self.texts.words(text, place, IntakeError::NotAnObject),
            Looks::Frame => match frame_text(text) {
                Ok(frame) => self.texts.bare(frame, text, place),
                Err(why) => self.texts.words(text, place, IntakeError::Text(why)),
            },
        }
    }
}

impl<R: BufRead> Iterator for TextCapture<R> {
    type Item = io::Result<Item>;

    fn next(&mut self) -> Option<Self::Item> {
        loop {
            if let Some(item) = self.texts.ready() {
                return Some(Ok(item));
            }
            if self.ended {
                return self.failed.take().map(Err);
            }
            self.advance();
        }
    }
}

/// Whether nothing in a datagram could be read: perhaps it is none.
fn is_hollow(events: &[Event]) -> bool {
    // A time that lacks its zone was read.
    let odd = |note: &Note| !matches!(note.remark, Remark::NoZone | Remark::NoDate);
    let is_odd = |event: &Event| {
        let gap = event.gap().is_some_and(|gap| matches!(gap.damage, Damage::Member(_)));
        gap || event.notes.iter().any(odd)
    };
    let is_bare =
        |event: &Event| matches!(event.what, What::Asked(_) | What::Acknowledged(_) | What::Gap(_));
    events.iter().all(is_bare) && events.iter().any(is_odd)
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
