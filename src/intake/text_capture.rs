//! A capture of lines, in the memory of one line.

use std::io::{self, BufRead};

use super::{
    error::IntakeError,
    event::{Damage, Event, Position, What},
    forwarder,
    item::Item,
    lines::{LINE_CAP, Lines, Raw},
    note::{Note, Remark},
    plain::plain,
    rows::Rows,
    shape::{self, Shape, Step},
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
    strict: bool,
    /// What goes on in the next line.
    open: Open,
    failed: Option<io::Error>,
    ended: bool,
}

impl<R: BufRead> TextCapture<R> {
    /// Returns the lines of the stream; `strict` looks for no frames hidden in other text.
    pub(super) fn new(stream: R, strict: bool) -> Self {
        let (lines, texts) = (Lines::new(stream), Texts::new(strict));
        Self {
            lines,
            read: Vec::new(),
            texts,
            strict,
            open: Open::Nothing,
            failed: None,
            ended: false,
        }
    }

    fn advance(&mut self) {
        let raw = self.lines.advance();
        let place = Position::line(self.lines.number());
        match raw {
            Ok(Some(Raw::Whole)) => self.whole(place),
            Ok(Some(Raw::TooLong)) => {
                self.close();
                self.texts.damage(place, IntakeError::TooLong { cap: LINE_CAP });
            }
            end => {
                self.close();
                self.failed = end.err();
                self.texts.end();
                self.ended = true;
            }
        }
    }

    fn whole(&mut self, place: Position) {
        let octets = self.lines.text();
        let text = match std::str::from_utf8(octets) {
            Ok(text) => text,
            Err(e) => {
                let why = IntakeError::NotUtf8 { column: e.valid_up_to() + 1 };
                let text = String::from_utf8_lossy(octets).into_owned();
                self.close();
                return self.texts.words(&text, place, why);
            }
        };
        if self.strict {
            // The line is read while it stands in the reader's own memory.
            return read_line(&mut self.texts, &mut self.read, text, place, None);
        }
        let text = plain(text);
        if let Open::Nothing = self.open {
            return read_line(&mut self.texts, &mut self.read, &text, place, Some(&mut self.open));
        }
        let text = text.into_owned();
        self.goes_on(&text, place);
    }

    /// Reads a line behind one that goes on.
    fn goes_on(&mut self, text: &str, place: Position) {
        let taken = match &mut self.open {
            Open::Nothing => false,
            Open::Rows(rows) => rows.take(text, place),
            Open::Json(json) => json.take(text, place),
        };
        if !taken {
            self.close();
            let (texts, read) = (&mut self.texts, &mut self.read);
            return read_line(texts, read, text, place, Some(&mut self.open));
        }
        if matches!(&self.open, Open::Json(json) if json.ends.is_some()) {
            self.close();
        }
    }

    /// Reads what went on until here; line by line where it makes nothing.
    fn close(&mut self) {
        let lines = match std::mem::take(&mut self.open) {
            Open::Nothing => return,
            Open::Rows(rows) => {
                if self.texts.rows(&rows) {
                    return;
                }
                rows.lines
            }
            Open::Json(json) => match json.whole() {
                Some((text, place))
                    if read_whole(&mut self.texts, &mut self.read, &text, place) =>
                {
                    return;
                }
                _ => json.lines,
            },
        };
        for (place, text) in lines {
            read_line(&mut self.texts, &mut self.read, &text, place, None);
        }
    }
}

/// What began in a line, and goes on.
#[derive(Debug, Default)]
enum Open {
    #[default]
    Nothing,
    Json(Box<Message>),
    Rows(Box<Rows>),
}

/// JSON over several lines.
#[derive(Debug)]
struct Message {
    lines: Vec<(Position, String)>,
    text: String,
    shape: Shape,
    /// Octets of the first line before it.
    prefix: usize,
    /// Where it ends.
    ends: Option<usize>,
}

impl Message {
    fn begin(text: &str, place: Position) -> Option<Self> {
        let (prefix, shape) = shape::begins(text)?;
        let lines = vec![(place, text.to_owned())];
        Some(Self { lines, text: text.to_owned(), shape, prefix, ends: None })
    }

    /// Takes one more line; returns whether it may go on so.
    fn take(&mut self, text: &str, place: Position) -> bool {
        let first = self.lines.first().and_then(|(_, line)| line.get(..self.prefix));
        let rest = behind(text, first.unwrap_or_default());
        let room = self.lines.len() < MOST_LINES && self.text.len() + rest.len() < MOST_TEXT;
        if !self.shape.is_in_string() {
            self.text.push('\n');
        }
        let at = self.text.len();
        match self.shape.line(rest) {
            Step::Open => {}
            Step::Closed(len) => self.ends = Some(at + len),
            Step::Bad => return false,
        }
        self.text.push_str(rest);
        self.lines.push((place, text.to_owned()));
        room
    }

    /// Returns all of it in one, from its first line on; `None` where it has no end.
    fn whole(&self) -> Option<(String, Position)> {
        let text = self.text.get(..self.ends?)?.to_owned();
        let more = u32::try_from(self.lines.len().saturating_sub(1)).ok()?;
        let (place, _) = self.lines.first()?;
        Some((text, Position { more, ..*place }))
    }
}

/// Returns a line without words that have the form of those before the first: a time that goes on, a number.
fn behind<'t>(text: &'t str, first: &str) -> &'t str {
    let alike = |(a, b): (char, char)| a == b || a.is_ascii_digit() && b.is_ascii_digit();
    let mut pairs = text.chars().zip(first.chars());
    if text.len() >= first.len() && pairs.all(alike) {
        text.get(first.len()..).unwrap_or(text)
    } else {
        text
    }
}

/// Reads JSON that went over several lines; returns whether it says something.
fn read_whole(texts: &mut Texts, read: &mut Vec<Event>, text: &str, place: Position) -> bool {
    if !text.trim_start().starts_with('{') {
        return texts.found_in(text, place);
    }
    read.clear();
    match forwarder::capture_line(text, place, read) {
        Ok(()) if !is_hollow(read) => texts.whole(read),
        Ok(()) => texts.hollow(read, text, place),
        Err(_) => return texts.found_in(text, place),
    }
    true
}

/// Reads a line; `open` takes what goes on in the next one.
fn read_line(
    texts: &mut Texts,
    read: &mut Vec<Event>,
    text: &str,
    place: Position,
    mut open: Option<&mut Open>,
) {
    let body = text.trim_start();
    if body.is_empty() || body.starts_with('#') {
        return;
    }
    let goes_on = |open: Option<&mut Open>| {
        let (Some(open), Some(json)) = (open, Message::begin(text, place)) else { return false };
        *open = Open::Json(Box::new(json));
        true
    };
    match looks(body) {
        Looks::Object => {
            read.clear();
            match forwarder::capture_line(text, place, read) {
                // Nearly every line of nearly every capture.
                Ok(()) if !is_hollow(read) => texts.whole(read),
                Ok(()) => texts.hollow(read, text, place),
                Err(IntakeError::NoDatagram) => texts.json(text, place),
                Err(IntakeError::Cut { .. }) if goes_on(open.as_deref_mut()) => {}
                // Whoever begins with a brace means JSON.
                Err(why) => texts.broken_json(text, place, why),
            }
        }
        Looks::OtherJson if goes_on(open.as_deref_mut()) => {}
        Looks::OtherJson => texts.words(text, place, IntakeError::NotAnObject),
        Looks::Frame => {
            let rows = open.is_some().then(|| Rows::begin(text, place, texts.before())).flatten();
            if let (Some(open), Some(rows)) = (&mut open, rows) {
                **open = Open::Rows(Box::new(rows));
                return;
            }
            if goes_on(open) {
                return;
            }
            match frame_text(text) {
                Ok(frame) => texts.bare(frame, text, place),
                Err(why) => texts.words(text, place, IntakeError::Text(why)),
            }
        }
    }
}

/// Lines of one message, and octets: a log has no longer ones.
const MOST_LINES: usize = 2_048;
const MOST_TEXT: usize = 1 << 16;

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
