//! What comes next in a recording, whatever its file format.

use std::ops::Range;

use jiff::Timestamp;

use crate::intake::error::PacketError;

/// The order of the octets of a number.
#[derive(Clone, Copy, Debug, Default, Eq, PartialEq)]
pub(super) enum Endian {
    Big,
    #[default]
    Little,
}

impl Endian {
    pub(super) const fn u16(self, octets: [u8; 2]) -> u16 {
        match self {
            Self::Big => u16::from_be_bytes(octets),
            Self::Little => u16::from_le_bytes(octets),
        }
    }

    pub(super) const fn u32(self, octets: [u8; 4]) -> u32 {
        match self {
            Self::Big => u32::from_be_bytes(octets),
            Self::Little => u32::from_le_bytes(octets),
        }
    }

    pub(super) const fn i64(self, octets: [u8; 8]) -> i64 {
        match self {
            Self::Big => i64::from_be_bytes(octets),
            Self::Little => i64::from_le_bytes(octets),
        }
    }
}

/// What comes next in a recording.
#[derive(Debug)]
pub(super) enum Step {
    Packet(Captured),
    /// Nothing of interest.
    Other,
    /// Something that is damaged, with the next thing behind it; whether it counts as a packet.
    Flawed {
        why: PacketError,
        counts: bool,
    },
    /// Something that is damaged, and the end.
    Lost(PacketError),
    End,
}

/// A packet; its octets are with the source.
#[derive(Clone, Debug)]
pub(super) struct Captured {
    pub(super) at: Option<Timestamp>,
    pub(super) link_type: u16,
    /// Octets of the recording before its own.
    pub(super) offset: u64,
    pub(super) octets: Range<usize>,
}

/// More than any link carries.
pub(super) const MOST_OCTETS: u32 = 1 << 24;
