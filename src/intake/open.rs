//! A capture of any kind: its first octets say which.

use std::io::{self, BufReader, Read};

use super::{
    capture::{CaptureLines, Item},
    datagram::Unit,
};

/// How a capture is to be read.
#[derive(Clone, Copy, Debug, Default, Eq, PartialEq)]
pub struct OpenOptions {
    /// Take only what a format of its own states; look for no frames hidden in lines of text.
    pub strict: bool,
}

/// Reads a capture of any kind, item by item.
pub struct Capture {
    reader: Reader,
}

enum Reader {
    Lines(CaptureLines<BufReader<Box<dyn Read + Send>>>),
}

impl Capture {
    /// Returns the items of a stream; nothing is read before the first is asked for.
    pub fn open(stream: Box<dyn Read + Send>, options: OpenOptions) -> Self {
        let stream = BufReader::new(stream);
        let lines =
            if options.strict { CaptureLines::strict(stream) } else { CaptureLines::new(stream) };
        Self { reader: Reader::Lines(lines) }
    }

    /// Returns what the capture is counted in: known once the first item is there.
    pub const fn unit(&self) -> Unit {
        match self.reader {
            Reader::Lines(_) => Unit::Line,
        }
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
        match &mut self.reader {
            Reader::Lines(lines) => lines.next(),
        }
    }
}
