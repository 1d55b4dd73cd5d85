//! pcap: one header, then packets with 16 octets before each.
//!
//! The layout stands in [`crate::record`], which writes it; the magic says byte order and unit of time. Source:
//! PCAP Capture File Format (draft-ietf-opsawg-pcap), sections 4 and 5.

use std::io::{self, Read};

use super::{
    source::Source,
    step::{Captured, Endian, MOST_OCTETS, Step},
    time,
};
use crate::intake::error::{Flaw, PacketError};

/// What the file's header says.
#[derive(Debug)]
pub(super) struct Classic {
    endian: Endian,
    units: u64,
    link_type: u16,
}

impl Classic {
    /// Reads the file's header.
    pub(super) fn open<R: Read>(source: &mut Source<R>) -> io::Result<Result<Self, PacketError>> {
        let header = match source.array::<24>()? {
            Ok(header) => header,
            Err(present) => {
                let flaw = Flaw::Cut { what: "file header", needed: 24, present: present as u64 };
                return Ok(Err(PacketError { offset: 0, flaw }));
            }
        };
        let [m0, m1, m2, m3, .., l0, l1, l2, l3] = header;
        let magic = [m0, m1, m2, m3];
        let big = u32::from_be_bytes(magic);
        let endian =
            if matches!(big, MICROSECONDS | NANOSECONDS) { Endian::Big } else { Endian::Little };
        let units = if endian.u32(magic) == NANOSECONDS { 1_000_000_000 } else { 1_000_000 };
        // The upper half tells of a frame check sequence, which IP's own length leaves out.
        let [.., high, low] = endian.u32([l0, l1, l2, l3]).to_be_bytes();
        Ok(Ok(Self { endian, units, link_type: u16::from_be_bytes([high, low]) }))
    }

    /// Reads the next packet; its octets are what the source took last.
    pub(super) fn next<R: Read>(&self, source: &mut Source<R>) -> io::Result<Step> {
        let offset = source.offset();
        let broken = |flaw| Ok(Step::Lost(PacketError { offset, flaw }));
        let header = match source.array::<16>()? {
            Ok(header) => header,
            Err(0) => return Ok(Step::End),
            Err(present) => {
                let (what, present) = ("packet header", present as u64);
                return broken(Flaw::Cut { what, needed: 16, present });
            }
        };
        let [s0, s1, s2, s3, f0, f1, f2, f3, l0, l1, l2, l3, ..] = header;
        let stated = self.endian.u32([l0, l1, l2, l3]);
        let (what, needed) = ("packet", u64::from(stated));
        let length = match usize::try_from(stated) {
            Ok(length) if stated <= MOST_OCTETS => length,
            _ => return broken(Flaw::Length { what, stated: needed }),
        };
        let present = source.take(length)?.len();
        if present < length {
            return broken(Flaw::Cut { what, needed, present: present as u64 });
        }
        let (seconds, fraction) =
            (self.endian.u32([s0, s1, s2, s3]), self.endian.u32([f0, f1, f2, f3]));
        Ok(Step::Packet(Captured {
            at: time::of_parts(seconds, fraction, self.units),
            link_type: self.link_type,
            offset: offset + 16,
            octets: 0..length,
        }))
    }
}

pub(super) const MICROSECONDS: u32 = 0xA1B2_C3D4;
pub(super) const NANOSECONDS: u32 = 0xA1B2_3C4D;
