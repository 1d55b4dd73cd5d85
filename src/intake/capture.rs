//! A capture of any kind: its first octets say which.

use std::io::{self, BufReader, Cursor, Read};

use super::{
    error::IntakeError,
    event::Position,
    item::Item,
    pcap::{self, Packets},
    text_capture::TextCapture,
    texts::damaged,
    unpack::{UnpackError, Verdict, packing, unpack},
    wide::{self, Narrow},
};

/// How a capture is to be read.
#[derive(Clone, Copy, Debug, Default, Eq, PartialEq)]
pub struct CaptureOptions {
    /// Take only what a format of its own states; look for no frames hidden in lines of text.
    pub strict: bool,
    /// The number of the capture, where there are several, from 0.
    pub source: u16,
}

/// Reads a capture of any kind, item by item.
///
/// Recorded packets (pcap, pcapng) and lines of text, each as it is or packed with gzip or zstd. Lines are
/// datagrams as JSON, messages of the station protocol, frames in hex or base64, and any log in whose lines
/// frames hide.
///
/// Ends after the first error of the stream itself.
///
/// ```
/// use handfast::intake::{Capture, Item};
///
/// let text = r#"{"rxpk":[{"freq":868.1,"datr":"SF7BW125","data":"QNq7AQIAAQACx4c="}]}"#;
/// for item in Capture::new(text.as_bytes()) {
///     let Item::Event(event) = item? else { continue };
///     let Some(heard) = event.heard() else { continue };
///     assert_eq!(heard.freq_hz, Some(868_100_000));
/// }
/// # Ok::<(), std::io::Error>(())
/// ```
pub struct Capture<'s> {
    form: Form<'s>,
    options: CaptureOptions,
    /// What became of each packing, the outermost first.
    verdicts: Vec<Verdict>,
    /// Where the last event is.
    last: Position,
}

type Stream<'s> = Box<dyn Read + Send + 's>;

enum Form<'s> {
    /// Not looked into yet.
    Closed(Stream<'s>),
    Text(Box<TextCapture<BufReader<Stream<'s>>>>),
    Packets(Box<Packets<BufReader<Stream<'s>>>>),
    Ended,
}

impl<'s> Capture<'s> {
    /// Returns the items of a stream; nothing is read before the first is asked for.
    pub fn new(stream: impl Read + Send + 's) -> Self {
        Self::open(stream, CaptureOptions::default())
    }

    /// Returns the items of a stream, read in another way.
    pub fn open(stream: impl Read + Send + 's, options: CaptureOptions) -> Self {
        let (form, last) = (Form::Closed(Box::new(stream)), Position::default());
        Self { form, options, verdicts: Vec::new(), last }
    }

    /// Looks at how the stream begins, and unpacks it.
    fn look(&mut self, mut stream: Stream<'s>) -> io::Result<Form<'s>> {
        loop {
            let mut head = vec![0; pcap::SNIFFED];
            let present = pcap::fill(&mut stream, &mut head)?;
            head.truncate(present);
            let packing = packing(&head);
            let packets = pcap::is_recording(&head);
            stream = Box::new(Cursor::new(head.clone()).chain(stream));
            match packing {
                Some(_) if self.verdicts.len() >= MOST_NESTED => {
                    let verdict = Verdict::default();
                    verdict.set(UnpackError::Nested(MOST_NESTED));
                    self.verdicts.push(verdict);
                    return Ok(Form::Ended);
                }
                Some(packing) => {
                    let verdict = Verdict::default();
                    stream = unpack(packing, stream, &verdict);
                    self.verdicts.push(verdict);
                }
                None if packets => {
                    let stream = BufReader::with_capacity(BUFFER, stream);
                    return Ok(Form::Packets(Box::new(Packets::new(&head, stream))));
                }
                None => {
                    if let Some(order) = wide::order(&head) {
                        stream = Box::new(Narrow::new(stream, order));
                    }
                    let text = TextCapture::new(BufReader::new(stream), self.options.strict);
                    return Ok(Form::Text(Box::new(text)));
                }
            }
        }
    }

    /// Returns what was wrong with the packing, once the items have ended.
    fn verdict(&mut self) -> Option<Item> {
        let why = self.verdicts.iter().find_map(Verdict::take)?;
        let place = Position { number: self.last.number + 1, ..self.last };
        Some(self.counted(Item::Event(damaged(place, IntakeError::Unpack(why)))))
    }

    /// Gives an event the number of its capture, and its own among those of its line.
    fn counted(&mut self, mut item: Item) -> Item {
        if let Item::Event(event) = &mut item {
            let place = &mut event.place;
            place.source = self.options.source;
            place.index =
                if place.is_with(self.last) { self.last.index.saturating_add(1) } else { 0 };
            self.last = *place;
        }
        item
    }
}

impl std::fmt::Debug for Capture<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Capture").field("last", &self.last).finish_non_exhaustive()
    }
}

impl Iterator for Capture<'_> {
    type Item = io::Result<Item>;

    fn next(&mut self) -> Option<Self::Item> {
        if let Form::Closed(_) = self.form
            && let Form::Closed(stream) = std::mem::replace(&mut self.form, Form::Ended)
        {
            match self.look(stream) {
                Ok(form) => self.form = form,
                Err(error) => return Some(Err(error)),
            }
        }
        let item = match &mut self.form {
            Form::Text(lines) => lines.next(),
            Form::Packets(packets) => packets.next(),
            Form::Closed(_) | Form::Ended => None,
        };
        match item {
            Some(Ok(item)) => Some(Ok(self.counted(item))),
            Some(Err(error)) => Some(Err(error)),
            None => self.verdict().map(Ok),
        }
    }
}

/// A capture may be packed, and packed again for its journey.
const MOST_NESTED: usize = 3;
const BUFFER: usize = 1 << 16;
