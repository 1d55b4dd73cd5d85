//! Why a packet, or what stands around packets, could not be taken.

use crate::intake::{loratap::LoraTapError, wire::WireError};

/// Why a packet could not be taken, and where it stands.
#[derive(Clone, Debug, Eq, PartialEq, thiserror::Error)]
#[error("octet {offset}: {flaw}")]
pub struct PacketError {
    /// Octets of the capture before what is not whole, after unpacking.
    pub offset: u64,
    /// What is wrong.
    pub flaw: Flaw,
}

/// What is wrong with a packet, or with a block of a capture.
#[derive(Clone, Debug, Eq, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum Flaw {
    /// The capture ends early.
    #[error("the capture ends within its {what}: {needed} octets needed, {present} left")]
    Cut {
        /// Within what.
        what: &'static str,
        /// Octets that it has.
        needed: u64,
        /// Octets that there are.
        present: u64,
    },
    /// A length that cannot be: where the next packet begins is not known.
    #[error("{what} of {stated} octets: that cannot be, and what follows cannot be found")]
    Length {
        /// What has it.
        what: &'static str,
        /// The length.
        stated: u64,
    },
    /// A block says two lengths.
    #[error("a block of {before} octets that says {after} at its end")]
    Ends {
        /// The length at its beginning.
        before: u64,
        /// The length at its end.
        after: u32,
    },
    /// A section whose byte order is neither of the two.
    #[error("byte order {0:08x}: neither order of 1a2b3c4d, and what follows cannot be read")]
    ByteOrder(u32),
    /// A block that is too short for what it is to hold.
    #[error("{what} of {stated} octets in a block that has room for {room}")]
    Overfull {
        /// What it is to hold.
        what: &'static str,
        /// Octets of it.
        stated: u64,
        /// Octets there.
        room: u64,
    },
    /// More interfaces than any capture has.
    #[error("more than {0} interfaces in a section")]
    Interfaces(usize),
    /// A packet of an interface that the section does not describe.
    #[error("interface {0}, which this section does not describe")]
    NoInterface(u32),
    /// A link layer that is not read.
    #[error(
        "link type {0}, which is not read: Ethernet, Linux cooked, raw IP, loopback and LoRaTap are"
    )]
    LinkType(u16),
    /// A datagram of the gateway's protocol that was not recorded whole.
    #[error("a {kind} of which {present} of {needed} octets were recorded")]
    Snapped {
        /// Its kind.
        kind: &'static str,
        /// Its octets.
        needed: usize,
        /// Those recorded.
        present: usize,
    },
    /// A datagram of the gateway's protocol that came in pieces.
    #[error("the first IP fragment of a {0}: datagrams in pieces are not put together")]
    Fragment(&'static str),
    /// No LoRaTap.
    #[error("{0}")]
    LoraTap(LoraTapError),
    /// A datagram of the gateway's protocol that cannot be read.
    #[error("{0}")]
    Datagram(Box<WireError>),
}

impl Flaw {
    /// Returns what may be done about it.
    pub const fn hint(&self) -> &'static str {
        match self {
            Self::Cut { .. } => {
                "a recorder that was stopped, a full disk or a copy that broke off leave this; all \
                 whole packets before it are used"
            }
            Self::Length { .. } | Self::ByteOrder(_) => "all whole packets before it are used",
            Self::Snapped { .. } => "record whole packets: tcpdump -s 0",
            Self::Fragment(_) => {
                "record where the datagram is whole: at the gateway, or behind a link that takes it \
                 in one piece"
            }
            Self::LinkType(_) => "record on the interface that the gateway's datagrams pass",
            _ => "all other packets are used",
        }
    }
}
