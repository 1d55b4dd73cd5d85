//! pcapng: sections of blocks.
//!
//! | block | type | holds |
//! |-------|------|-------|
//! | section header | 0A0D0D0A | the byte order of all that follows, until the next one |
//! | interface | 1 | link type and clock of the interfaces, numbered from 0 |
//! | enhanced packet | 6 | interface, time, packet |
//! | simple packet | 3 | packet of interface 0, without a time |
//! | packet | 2 | as enhanced, of older files |
//!
//! Each begins with its type and its length and ends with its length again; other types are passed over. Source:
//! PCAP Now Generic (draft-ietf-opsawg-pcapng), sections 3 and 4.

use std::{
    io::{self, Read},
    ops::Range,
};

use super::{
    source::Source,
    step::{Captured, Endian, MOST_OCTETS, Step},
    time::Resolution,
};
use crate::intake::error::{Flaw, PacketError};

/// What is known of the section that is read.
#[derive(Debug, Default)]
pub(super) struct Section {
    endian: Endian,
    interfaces: Vec<Interface>,
}

/// An interface that packets were captured on.
#[derive(Clone, Copy, Debug)]
struct Interface {
    link_type: u16,
    snap_length: u32,
    /// `None` where its options cannot be read: its times would be wrong.
    clock: Option<Clock>,
}

#[derive(Clone, Copy, Debug)]
struct Clock {
    resolution: Resolution,
    offset: i64,
}

/// What a block's first eight octets say.
struct Head {
    offset: u64,
    kind: u32,
    /// Octets of all of it.
    length: u64,
    /// Octets from here to the length at its end.
    body: u64,
}

impl Section {
    /// Reads the next block; the octets of a packet are within what the source took last.
    pub(super) fn next<R: Read>(&mut self, source: &mut Source<R>) -> io::Result<Step> {
        let head = match self.head(source)? {
            Ok(head) => head,
            Err(step) => return Ok(step),
        };
        let Head { offset, kind, length, body } = head;
        let broken = |flaw| {
            let counts = is_packet(kind);
            Ok(Step::Flawed { why: PacketError { offset, flaw }, counts })
        };
        let known = kind == INTERFACE || is_packet(kind);
        let wanted = if known && body <= u64::from(MOST_OCTETS) { body } else { 0 };
        // What is not wanted is passed over without being held.
        let mut present = source.take(usize::try_from(wanted).unwrap_or_default())?.len() as u64;
        present += source.skip(body - wanted)?;
        let end = if present == body { source.array::<4>()? } else { Err(0) };
        let end = match end {
            Ok(end) => self.endian.u32(end),
            Err(more) => {
                let what = if is_packet(kind) { "packet block" } else { "block" };
                let present = length - 4 - body + present + more as u64;
                let flaw = Flaw::Cut { what, needed: length, present };
                return Ok(Step::Lost(PacketError { offset, flaw }));
            }
        };
        if u64::from(end) != length || (known && wanted < body) {
            self.lose(kind);
            return broken(if u64::from(end) == length {
                let room = u64::from(MOST_OCTETS);
                Flaw::Overfull { what: "a block", stated: body, room }
            } else {
                Flaw::Ends { before: length, after: end }
            });
        }
        let read = match kind {
            INTERFACE => self.interface(source.taken()).map(|()| Step::Other),
            ENHANCED | PACKET => self.packet(kind, source.taken()).map(Step::Packet),
            SIMPLE => self.simple(source.taken()).map(Step::Packet),
            _ => Ok(Step::Other),
        };
        match read {
            Ok(Step::Packet(mut packet)) => {
                packet.offset += offset + 8;
                Ok(Step::Packet(packet))
            }
            Ok(step) => Ok(step),
            Err(flaw) => broken(flaw),
        }
    }

    /// Reads how a block begins; of a section header all that is of use.
    fn head<R: Read>(&mut self, source: &mut Source<R>) -> io::Result<Result<Head, Step>> {
        let offset = source.offset();
        let lost = |flaw| Ok(Err(Step::Lost(PacketError { offset, flaw })));
        let cut = |needed, present| Flaw::Cut { what: "block header", needed, present };
        let [k0, k1, k2, k3, l0, l1, l2, l3] = match source.array::<8>()? {
            Ok(head) => head,
            Err(0) => return Ok(Err(Step::End)),
            Err(present) => return lost(cut(8, present as u64)),
        };
        let mut read = 8;
        let kind = self.endian.u32([k0, k1, k2, k3]);
        if kind == SECTION {
            let order = match source.array::<4>()? {
                Ok(order) => order,
                Err(present) => return lost(cut(12, 8 + present as u64)),
            };
            self.endian = match u32::from_be_bytes(order) {
                BYTE_ORDER => Endian::Big,
                other if other.swap_bytes() == BYTE_ORDER => Endian::Little,
                other => return lost(Flaw::ByteOrder(other)),
            };
            self.interfaces.clear();
            read = 12;
        }
        let length = u64::from(self.endian.u32([l0, l1, l2, l3]));
        let least = if kind == SECTION { 28 } else { 12 };
        if length < least || !length.is_multiple_of(4) {
            return lost(Flaw::Length { what: "a block", stated: length });
        }
        Ok(Ok(Head { offset, kind, length, body: length - read - 4 }))
    }

    /// Keeps the numbers of the interfaces right when one cannot be read.
    fn lose(&mut self, kind: u32) {
        if kind == INTERFACE && self.interfaces.len() < MOST_INTERFACES {
            self.interfaces.push(Interface { link_type: u16::MAX, snap_length: 0, clock: None });
        }
    }

    fn interface(&mut self, body: &[u8]) -> Result<(), Flaw> {
        if self.interfaces.len() >= MOST_INTERFACES {
            return Err(Flaw::Interfaces(MOST_INTERFACES));
        }
        let Some((&[t0, t1, _, _, s0, s1, s2, s3], options)) = body.split_first_chunk() else {
            self.lose(INTERFACE);
            return Err(overfull("an interface", 8, body.len()));
        };
        self.interfaces.push(Interface {
            link_type: self.endian.u16([t0, t1]),
            snap_length: self.endian.u32([s0, s1, s2, s3]),
            clock: self.clock(options),
        });
        Ok(())
    }

    /// Reads the two options that times depend on.
    fn clock(&self, mut options: &[u8]) -> Option<Clock> {
        let mut clock = Clock { resolution: Resolution::DEFAULT, offset: 0 };
        while !options.is_empty() {
            let (&[c0, c1, l0, l1], rest) = options.split_first_chunk()?;
            let (code, length) = (self.endian.u16([c0, c1]), self.endian.u16([l0, l1]));
            let length = usize::from(length);
            let value = rest.get(..length)?;
            match (code, value) {
                (END_OF_OPTIONS, _) => break,
                (IF_TSRESOL, &[resolution]) => clock.resolution = Resolution(resolution),
                (IF_TSOFFSET, value) => clock.offset = self.endian.i64(value.try_into().ok()?),
                (IF_TSRESOL, _) => return None,
                _ => {}
            }
            options = rest.get(length.next_multiple_of(4)..).unwrap_or_default();
        }
        Some(clock)
    }

    fn packet(&self, kind: u32, body: &[u8]) -> Result<Captured, Flaw> {
        let Some((&[i0, i1, i2, i3, h0, h1, h2, h3, l0, l1, l2, l3, c0, c1, c2, c3, ..], room)) =
            body.split_first_chunk::<HEADER>()
        else {
            return Err(overfull("a packet's header", HEADER as u64, body.len()));
        };
        let interface = if kind == PACKET {
            u32::from(self.endian.u16([i0, i1]))
        } else {
            self.endian.u32([i0, i1, i2, i3])
        };
        let known = self.known(interface)?;
        let captured = self.endian.u32([c0, c1, c2, c3]);
        let octets = within(captured, room.len())?;
        let count = u64::from(self.endian.u32([h0, h1, h2, h3])) << 32
            | u64::from(self.endian.u32([l0, l1, l2, l3]));
        let at = known.clock.and_then(|clock| clock.resolution.time(count, clock.offset));
        let octets = octets.start + HEADER..octets.end + HEADER;
        Ok(Captured { at, link_type: known.link_type, offset: HEADER as u64, octets })
    }

    fn simple(&self, body: &[u8]) -> Result<Captured, Flaw> {
        let Some((&original, room)) = body.split_first_chunk::<4>() else {
            return Err(overfull("a packet's header", 4, body.len()));
        };
        let known = self.known(0)?;
        let original = self.endian.u32(original);
        // A limit of 0 is none.
        let limit = if known.snap_length == 0 { u32::MAX } else { known.snap_length };
        let octets = within(original.min(limit), room.len())?;
        let octets = octets.start + 4..octets.end + 4;
        Ok(Captured { at: None, link_type: known.link_type, offset: 4, octets })
    }

    fn known(&self, interface: u32) -> Result<Interface, Flaw> {
        let place = usize::try_from(interface).unwrap_or(usize::MAX);
        self.interfaces.get(place).copied().ok_or(Flaw::NoInterface(interface))
    }
}

fn within(stated: u32, room: usize) -> Result<Range<usize>, Flaw> {
    match usize::try_from(stated) {
        Ok(length) if length <= room => Ok(0..length),
        _ => Err(overfull("a packet", u64::from(stated), room)),
    }
}

const fn overfull(what: &'static str, stated: u64, room: usize) -> Flaw {
    Flaw::Overfull { what, stated, room: room as u64 }
}

const fn is_packet(kind: u32) -> bool {
    matches!(kind, PACKET | SIMPLE | ENHANCED)
}

/// The same in both byte orders.
pub(super) const SECTION: u32 = 0x0A0D_0D0A;
pub(super) const BYTE_ORDER: u32 = 0x1A2B_3C4D;
const INTERFACE: u32 = 1;
const PACKET: u32 = 2;
const SIMPLE: u32 = 3;
const ENHANCED: u32 = 6;
const END_OF_OPTIONS: u16 = 0;
const IF_TSRESOL: u16 = 9;
const IF_TSOFFSET: u16 = 14;
/// Octets before the packet in an enhanced packet block.
const HEADER: usize = 20;
/// A section has a handful.
const MOST_INTERFACES: usize = 65_536;
