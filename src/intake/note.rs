//! What was odd about a datagram that was taken all the same.

use std::fmt;

use super::{
    header::DatagramKind,
    text::{Leniency, TextError},
};

/// Something odd in a datagram; all that is not named by a note is whole.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct Note {
    /// The object that the member belongs to.
    pub within: Within,
    /// The member, as the protocol spells it; empty where the object itself is meant.
    pub member: &'static str,
    /// What is odd.
    pub remark: Remark,
}

impl Note {
    /// Returns whether a frame, and not only a detail, was lost.
    pub const fn loses_a_frame(&self) -> bool {
        match self.within {
            Within::Message(_) => matches!(self.remark, Remark::NoOctets | Remark::Needed),
            Within::Uplink(_) | Within::Downlink => match self.remark {
                Remark::NoOctets | Remark::Data(_) => true,
                Remark::WrongType { .. } => self.member.is_empty(),
                _ => false,
            },
            _ => false,
        }
    }

    /// Returns whether a member was left out, the frame being taken without it.
    pub const fn leaves_a_member_out(&self) -> bool {
        !self.loses_a_frame()
            && matches!(self.remark, Remark::WrongType { .. } | Remark::NotUnderstood { .. })
    }
}

impl fmt::Display for Note {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match (self.within, self.member) {
            (Within::Bare, _) => return write!(f, "{}; it was taken", self.remark),
            (Within::Line, member) => f.write_str(member)?,
            (within, "") => within.fmt(f)?,
            (within, member) => write!(f, "{within}.{member}")?,
        }
        write!(f, ": {}", self.remark)
    }
}

/// An object within a capture line.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Within {
    /// The line itself, or the datagram.
    Line,
    /// An element of `rxpk`, from 0.
    Uplink(usize),
    /// `txpk`.
    Downlink,
    /// `txpk_ack`.
    Ack,
    /// `stat`.
    Stat,
    /// A message of the station protocol, by its type.
    Message(&'static str),
    /// A frame by itself, in hex or base64.
    Bare,
}

impl fmt::Display for Within {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Line => f.write_str("line"),
            Self::Uplink(index) => write!(f, "rxpk[{index}]"),
            Self::Downlink => f.write_str("txpk"),
            Self::Ack => f.write_str("txpk_ack"),
            Self::Stat => f.write_str("stat"),
            Self::Message(kind) => f.write_str(kind),
            Self::Bare => f.write_str("frame"),
        }
    }
}

/// What is odd about a member.
#[derive(Clone, Debug, Eq, PartialEq)]
#[non_exhaustive]
pub enum Remark {
    /// A JSON value of another type; the member is left out.
    WrongType {
        /// What belongs there.
        wanted: &'static str,
        /// What type stands there.
        found: &'static str,
    },
    /// The right type, but out of range or not understood; the member is left out.
    NotUnderstood {
        /// What belongs there.
        wanted: &'static str,
    },
    /// The member stands there more than once; the last one counts.
    Repeated,
    /// `data` is missing or empty; the frame is left out.
    NoOctets,
    /// A member without which the frame cannot be put together is missing or wrong; the frame is left out.
    Needed,
    /// `data` is no base64; the frame is left out.
    Data(TextError),
    /// `data` is not quite right, and was taken.
    Lenient(Leniency),
    /// `size` states another number of octets than `data` has.
    Size {
        /// Octets that `size` states.
        stated: u64,
        /// Octets of `data`.
        octets: usize,
    },
    /// The member belongs to another kind of datagram; it was taken.
    Foreign(DatagramKind),
    /// The datagram lacks what its kind is for.
    Missing(DatagramKind),
    /// The time names no zone: UTC is supposed, and only differences are sure.
    NoZone,
    /// Not the sync word of LoRaWAN's public networks; the frame was taken.
    SyncWord(u8),
    /// A clock without a date: only the order of such lines is known.
    NoDate,
    /// Something that the gateway does or did with it, in whole words.
    Told(&'static str),
    /// So many more notes were left out.
    More(usize),
}

impl fmt::Display for Remark {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::WrongType { wanted, found } => write!(f, "{wanted} expected, found {found}"),
            Self::NotUnderstood { wanted } => write!(f, "{wanted} expected"),
            Self::Repeated => f.write_str("is here more than once; the last one counts"),
            Self::NoOctets => f.write_str("no bytes: the frame is left out"),
            Self::Needed => {
                f.write_str("missing or wrong, and no frame without it: the frame is left out")
            }
            Self::Data(why) => write!(f, "{why}; the frame is left out"),
            Self::Lenient(what) => what.fmt(f),
            Self::Size { stated, octets } => {
                write!(f, "{stated} bytes stated, data has {octets}")
            }
            Self::Foreign(kind) => write!(f, "does not belong in {}", kind.name()),
            Self::Missing(kind) => write!(f, "{} without content", kind.name()),
            Self::NoZone => f.write_str(
                "names no zone that is known here: taken for UTC, only differences are sure",
            ),
            Self::SyncWord(word) => write!(
                f,
                "{word:02x}: LoRaWAN's public networks have 34, and a receiver set to one does not \
                 hear the other"
            ),
            Self::NoDate => {
                f.write_str("a clock without a date that is understood: only the order is known")
            }
            Self::Told(words) => f.write_str(words),
            Self::More(count) => write!(f, "{count} more notes left out"),
        }
    }
}

/// Notes of one line, kept to a number that a hostile line cannot raise.
#[derive(Debug, Default)]
pub(super) struct Notes {
    kept: Vec<Note>,
    more: usize,
}

impl Notes {
    pub(super) fn push(&mut self, within: Within, member: &'static str, remark: Remark) {
        if self.kept.len() < MOST_NOTES {
            self.kept.push(Note { within, member, remark });
        } else {
            self.more += 1;
        }
    }

    #[inline]
    pub(super) fn append(&mut self, other: &mut Self) {
        if other.kept.is_empty() {
            // Nearly always.
        } else if self.kept.is_empty() {
            std::mem::swap(&mut self.kept, &mut other.kept);
        } else {
            for note in other.kept.drain(..) {
                self.push(note.within, note.member, note.remark);
            }
        }
        self.more += other.more;
    }

    pub(super) fn into_vec(mut self) -> Vec<Note> {
        if self.more > 0 {
            let remark = Remark::More(self.more);
            self.kept.push(Note { within: Within::Line, member: "notes", remark });
        }
        self.kept
    }
}

/// Kept in full for one line.
const MOST_NOTES: usize = 64;
