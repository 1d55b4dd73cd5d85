//! Recorded packets: pcap and pcapng, from a file or a pipe.
//!
//! | file | holds |
//! |------|-------|
//! | `classic` | pcap |
//! | `blocks` | pcapng |
//! | `sorter` | which packets are datagrams of the gateway's protocol |
//! | `talk` | which gateway a datagram belongs to, and whether it was recorded twice |
//! | `step` | what comes next in a file |
//!
//! A packet that is damaged is named by its number and by the octets before it, and passed over; where a length
//! is unsound, nothing after it can be found. No more than a packet is held at a time.

mod blocks;
mod classic;
mod sorter;
mod source;
mod step;
mod talk;
mod time;

use std::io::{self, Read};

use super::item::Item;
use blocks::Section;
use classic::Classic;
use sorter::Sorter;
use source::Source;
use step::Step;

pub(super) use source::fill;

/// Octets by which a recording of packets is told from other files.
pub(super) const SNIFFED: usize = 12;

/// Returns whether a file that begins so is a recording of packets.
pub(super) fn is_recording(head: &[u8]) -> bool {
    let (Some(magic), order) = (head.first_chunk(), head.get(8..12)) else { return false };
    let magic = u32::from_be_bytes(*magic);
    match magic {
        blocks::SECTION => order.is_some_and(|order| {
            order == blocks::BYTE_ORDER.to_be_bytes() || order == blocks::BYTE_ORDER.to_le_bytes()
        }),
        _ => [magic, magic.swap_bytes()]
            .iter()
            .any(|magic| matches!(*magic, classic::MICROSECONDS | classic::NANOSECONDS)),
    }
}

/// Reads the datagrams of a recording.
#[derive(Debug)]
pub(super) struct Packets<R> {
    source: Source<R>,
    form: Form,
    sorter: Sorter,
    /// The stream's error, told once all before it is handed on.
    failed: Option<io::Error>,
    ended: bool,
}

#[derive(Debug)]
enum Form {
    /// A pcap file whose header is to be read.
    Begins,
    Classic(Classic),
    Blocks(Section),
}

impl<R: Read> Packets<R> {
    /// Returns the datagrams of a stream that begins with these octets.
    pub(super) fn new(head: &[u8], stream: R) -> Self {
        let blocks = head.starts_with(&blocks::SECTION.to_be_bytes());
        Self {
            source: Source::new(stream),
            form: if blocks { Form::Blocks(Section::default()) } else { Form::Begins },
            sorter: Sorter::default(),
            failed: None,
            ended: false,
        }
    }

    fn step(&mut self) -> io::Result<Step> {
        match &mut self.form {
            Form::Classic(classic) => classic.next(&mut self.source),
            Form::Blocks(section) => section.next(&mut self.source),
            Form::Begins => Ok(match Classic::open(&mut self.source)? {
                Ok(classic) => {
                    self.form = Form::Classic(classic);
                    Step::Other
                }
                Err(why) => Step::Lost(why),
            }),
        }
    }

    fn take(&mut self, step: Step) {
        match step {
            Step::Packet(packet) => {
                let octets = self.source.taken().get(packet.octets.clone()).unwrap_or_default();
                self.sorter.packet(&packet, octets);
            }
            Step::Other => {}
            Step::Flawed { why, counts } => self.sorter.flawed(why, counts),
            Step::Lost(why) => {
                self.sorter.flawed(why, false);
                self.ended = true;
            }
            Step::End => self.ended = true,
        }
        if self.ended {
            self.sorter.end();
        }
    }
}

impl<R: Read> Iterator for Packets<R> {
    type Item = io::Result<Item>;

    fn next(&mut self) -> Option<Self::Item> {
        loop {
            if let Some(item) = self.sorter.ready.pop_front() {
                return Some(Ok(item));
            }
            if self.ended {
                return self.failed.take().map(Err);
            }
            match self.step() {
                Ok(step) => self.take(step),
                Err(error) => {
                    self.failed = Some(error);
                    self.take(Step::End);
                }
            }
        }
    }
}
