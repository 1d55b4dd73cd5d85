//! A capture of any kind: its first octets say which.

use std::io::{self, BufReader, Cursor, Read};

use super::{
    capture::{CaptureLines, Item},
    datagram::Unit,
    error::IntakeError,
    pcap::{self, Packets},
    unpack::{Packing, UnpackError, Verdict, unpack},
};

/// How a capture is to be read.
#[derive(Clone, Copy, Debug, Default, Eq, PartialEq)]
pub struct OpenOptions {
    /// Take only what a format of its own states; look for no frames hidden in lines of text.
    pub strict: bool,
}

/// Reads a capture of any kind, item by item.
///
/// Recorded packets (pcap, pcapng) and lines of text, each as it is or packed with gzip or zstd.
pub struct Capture {
    reader: Reader,
    strict: bool,
    /// What became of each packing, the outermost first.
    verdicts: Vec<Verdict>,
    /// Lines or packets so far.
    number: u64,
}

type Stream = Box<dyn Read + Send>;

enum Reader {
    /// Not looked into yet.
    Closed(Stream),
    Lines(CaptureLines<BufReader<Stream>>),
    Packets(Box<Packets<BufReader<Stream>>>),
    Ended,
}

impl Capture {
    /// Returns the items of a stream; nothing is read before the first is asked for.
    pub fn open(stream: Box<dyn Read + Send>, options: OpenOptions) -> Self {
        Self {
            reader: Reader::Closed(stream),
            strict: options.strict,
            verdicts: Vec::new(),
            number: 0,
        }
    }

    /// Returns what the capture is counted in: known once the first item is there.
    pub const fn unit(&self) -> Unit {
        match self.reader {
            Reader::Packets(_) => Unit::Packet,
            Reader::Closed(_) | Reader::Lines(_) | Reader::Ended => Unit::Line,
        }
    }

    /// Looks at how the stream begins, and unpacks it.
    fn look(&mut self, mut stream: Stream) -> io::Result<Reader> {
        loop {
            let mut head = vec![0; pcap::SNIFFED];
            let present = pcap::fill(&mut stream, &mut head)?;
            head.truncate(present);
            let packing = Packing::of(&head);
            let packets = pcap::is_recording(&head);
            stream = Box::new(Cursor::new(head.clone()).chain(stream));
            match packing {
                Some(_) if self.verdicts.len() >= MOST_NESTED => {
                    let verdict = Verdict::default();
                    verdict.set(UnpackError::Nested(MOST_NESTED));
                    self.verdicts.push(verdict);
                    return Ok(Reader::Lines(CaptureLines::new(BufReader::new(Box::new(
                        io::empty(),
                    )))));
                }
                Some(packing) => {
                    let verdict = Verdict::default();
                    stream = unpack(packing, stream, &verdict);
                    self.verdicts.push(verdict);
                }
                None if packets => {
                    let stream = BufReader::with_capacity(BUFFER, stream);
                    return Ok(Reader::Packets(Box::new(Packets::new(&head, stream))));
                }
                None if self.strict => {
                    return Ok(Reader::Lines(CaptureLines::strict(BufReader::new(stream))));
                }
                None => return Ok(Reader::Lines(CaptureLines::new(BufReader::new(stream)))),
            }
        }
    }

    /// Returns what was wrong with the packing, once the items have ended.
    fn verdict(&mut self) -> Option<Item> {
        let why = self.verdicts.iter().find_map(Verdict::take)?;
        Some(Item::Skipped { line: self.number + 1, why: IntakeError::Unpack(why) })
    }
}

impl std::fmt::Debug for Capture {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Capture").field("unit", &self.unit()).finish_non_exhaustive()
    }
}

impl Iterator for Capture {
    type Item = io::Result<Item>;

    fn next(&mut self) -> Option<Self::Item> {
        if let Reader::Closed(_) = self.reader
            && let Reader::Closed(stream) = std::mem::replace(&mut self.reader, Reader::Ended)
        {
            match self.look(stream) {
                Ok(reader) => self.reader = reader,
                Err(error) => return Some(Err(error)),
            }
        }
        let item = match &mut self.reader {
            Reader::Lines(lines) => lines.next(),
            Reader::Packets(packets) => packets.next(),
            Reader::Closed(_) | Reader::Ended => None,
        };
        match &item {
            Some(Ok(Item::Datagram(datagram))) => self.number = datagram.line,
            Some(Ok(Item::Frame { line, .. } | Item::Skipped { line, .. })) => self.number = *line,
            Some(Ok(Item::PassedOver(_) | Item::Passed { .. }) | Err(_)) => {}
            None => return self.verdict().map(Ok),
        }
        item
    }
}

/// A capture may be packed, and packed again for its journey.
const MOST_NESTED: usize = 3;
const BUFFER: usize = 1 << 16;
