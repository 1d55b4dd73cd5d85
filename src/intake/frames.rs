//! The frames of a capture or a list of frames, one after the other.

use std::{
    collections::VecDeque,
    io::{self, BufRead},
};

use jiff::Timestamp;

use super::{
    capture::{CaptureLines, Item},
    datagram::{Downlink, Uplink},
    error::IntakeError,
    note::Note,
    pcap::PassedOver,
    text::FrameText,
};
use crate::{frame::Direction, id::Eui64};

/// What [`TextLines`] finds.
#[derive(Clone, Debug, PartialEq)]
pub enum TextItem {
    /// A frame.
    Frame(SourcedFrame),
    /// Something odd about a line that was taken.
    Noted {
        /// The line, from 1.
        line: u64,
        /// What is odd.
        note: Note,
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

/// A frame and where it comes from.
#[derive(Clone, Debug, PartialEq)]
pub struct SourcedFrame {
    /// The line, from 1.
    pub line: u64,
    /// Place among the frames of the line, from 0.
    pub index: usize,
    /// When it was captured.
    pub at: Option<Timestamp>,
    /// The gateway that heard it or is to send it.
    pub gateway: Option<Eui64>,
    /// What is known about it besides its octets.
    pub origin: Origin,
}

impl SourcedFrame {
    /// Returns the PHYPayload.
    pub fn octets(&self) -> &[u8] {
        match &self.origin {
            Origin::Text(frame) => &frame.octets,
            Origin::Uplink(uplink) => &uplink.octets,
            Origin::Downlink(downlink) => &downlink.octets,
        }
    }

    /// Returns which way it went by the datagram it came in; `None` for a frame by itself.
    ///
    /// The MHDR may say otherwise: a gateway hears other gateways, too.
    pub const fn direction(&self) -> Option<Direction> {
        match self.origin {
            Origin::Text(_) => None,
            Origin::Uplink(_) => Some(Direction::Uplink),
            Origin::Downlink(_) => Some(Direction::Downlink),
        }
    }
}

/// What a frame came as, with all that was said of it there.
#[derive(Clone, Debug, PartialEq)]
pub enum Origin {
    /// Hex or base64 by itself.
    Text(FrameText),
    /// Heard by a gateway.
    Uplink(Uplink),
    /// To be sent by a gateway.
    Downlink(Downlink),
}

/// Reads the frames of a stream whose lines are capture lines or frames in hex or base64.
///
/// Notes on a line come before its frames.
#[derive(Debug)]
pub struct TextLines<I> {
    items: I,
    ready: VecDeque<TextItem>,
}

impl<R: BufRead> TextLines<CaptureLines<R>> {
    /// Returns the frames of a stream of lines.
    pub const fn new(stream: R) -> Self {
        Self::of(CaptureLines::new(stream))
    }
}

impl<I> TextLines<I> {
    /// Returns the frames of a capture's items.
    pub const fn of(items: I) -> Self {
        Self { items, ready: VecDeque::new() }
    }

    /// Returns the items.
    pub const fn items(&self) -> &I {
        &self.items
    }

    /// Returns the items where none of what was taken of them waits: the next frame is theirs.
    pub fn spent(&mut self) -> Option<&mut I> {
        self.ready.is_empty().then_some(&mut self.items)
    }

    fn take(&mut self, item: Item) {
        let datagram = match item {
            Item::Datagram(datagram) => datagram,
            Item::Frame { line, frame } => {
                let origin = Origin::Text(frame);
                let frame = SourcedFrame { line, index: 0, at: None, gateway: None, origin };
                return self.ready.push_back(TextItem::Frame(frame));
            }
            Item::Passed { first, lines } => {
                return self.ready.push_back(TextItem::Passed { first, lines });
            }
            Item::PassedOver(passed) => {
                return self.ready.push_back(TextItem::PassedOver(passed));
            }
            Item::Skipped { line, why } => {
                return self.ready.push_back(TextItem::Skipped { line, why });
            }
        };
        let (line, at, gateway) = (datagram.line, datagram.at, datagram.gateway);
        let notes = datagram.notes.into_iter().map(|note| TextItem::Noted { line, note });
        let uplinks = datagram.rxpk.into_iter().map(Origin::Uplink);
        let origins = uplinks.chain(datagram.txpk.map(Origin::Downlink));
        let frames = origins.enumerate().map(|(index, origin)| {
            TextItem::Frame(SourcedFrame { line, index, at, gateway, origin })
        });
        self.ready.extend(notes.chain(frames));
    }
}

impl<I: Iterator<Item = io::Result<Item>>> Iterator for TextLines<I> {
    type Item = io::Result<TextItem>;

    fn next(&mut self) -> Option<Self::Item> {
        loop {
            if let Some(item) = self.ready.pop_front() {
                return Some(Ok(item));
            }
            match self.items.next()? {
                Ok(item) => self.take(item),
                Err(error) => return Some(Err(error)),
            }
        }
    }
}
