//! Why a line, a packet or a datagram could not be taken.

use super::{text::TextError, unpack::UnpackError};

/// Why a line, or the JSON of a datagram, could not be taken. Columns are in octets, from 1.
#[derive(Clone, Debug, Eq, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum IntakeError {
    /// A line longer than any capture has.
    #[error("longer than {cap} bytes: no line of a capture is")]
    TooLong {
        /// Octets that a line may have.
        cap: usize,
    },
    /// Octets that are not UTF-8.
    #[error("column {column}: not UTF-8 text")]
    NotUtf8 {
        /// Where.
        column: usize,
    },
    /// The line ends within its JSON.
    #[error("column {column}: the line ends before its JSON does")]
    Cut {
        /// Where.
        column: usize,
    },
    /// No JSON.
    #[error("column {column}: {message}")]
    Json {
        /// Where.
        column: usize,
        /// What the reader of JSON says; names no text of the line.
        message: String,
    },
    /// JSON, but no object.
    #[error("one JSON object a line expected")]
    NotAnObject,
    /// An object that is no datagram.
    #[error("no datagram: neither `kind` nor rxpk, txpk, txpk_ack or stat")]
    NoDatagram,
    /// Octets, but no frame.
    #[error(
        "{octets} bytes that are not a frame: a frame has 12 to 255, and begins with an MHDR of its length"
    )]
    NoFrame {
        /// How many.
        octets: usize,
    },
    /// Neither JSON nor a frame.
    #[error("neither JSON nor a frame: {0}")]
    Text(TextError),
    /// A packet that is not whole, or that cannot be read.
    #[error(transparent)]
    Packet(PacketError),
    /// A packed capture that cannot be unpacked to its end.
    #[error(transparent)]
    Unpack(UnpackError),
}

impl IntakeError {
    pub(super) fn json(error: &serde_json::Error) -> Self {
        let column = error.column().max(1);
        if error.is_eof() {
            return Self::Cut { column };
        }
        let message = error.to_string();
        let message = message.split(" at line ").next().unwrap_or_default().to_owned();
        Self::Json { column, message }
    }

    /// Returns what a right line looks like, for a line of its own.
    pub const fn hint(&self) -> &'static str {
        match self {
            Self::Text(error) => error.hint(),
            Self::Packet(error) => error.flaw.hint(),
            Self::Unpack(UnpackError::Window { .. }) => {
                "unpack it with zstd -d --memory, and give what comes out"
            }
            Self::Unpack(_) => "all that could be unpacked before is used",
            _ => {
                "a line is one JSON object such as \
                 {\"kind\":\"PUSH_DATA\",\"datagram\":{\"rxpk\":[{\"freq\":868.1,\"data\":\"...\"}]}}, \
                 or a frame in hex or base64"
            }
        }
    }
}

/// Why a packet could not be taken, and where it stands.
#[derive(Clone, Debug, Eq, PartialEq, thiserror::Error)]
#[error("byte {offset}: {flaw}")]
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
    #[error("the capture ends within its {what}: {needed} bytes needed, {present} left")]
    Cut {
        /// Within what.
        what: &'static str,
        /// Octets that it has.
        needed: u64,
        /// Octets that there are.
        present: u64,
    },
    /// A length that cannot be: where the next packet begins is not known.
    #[error("{what} of {stated} bytes: that cannot be, and what follows cannot be found")]
    Length {
        /// What has it.
        what: &'static str,
        /// The length.
        stated: u64,
    },
    /// A block says two lengths.
    #[error("a block of {before} bytes that says {after} at its end")]
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
    #[error("{what} of {stated} bytes in a block that has room for {room}")]
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
    #[error("a {kind} of which {present} of {needed} bytes were recorded")]
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
                 complete packets before it are used"
            }
            Self::Length { .. } | Self::ByteOrder(_) => "all complete packets before it are used",
            Self::Snapped { .. } => "record complete packets: tcpdump -s 0",
            Self::Fragment(_) => {
                "record where the datagram is complete: at the gateway, or behind a link that takes it \
                 in one piece"
            }
            Self::LinkType(_) => "record on the interface that the gateway's datagrams pass",
            _ => "all other packets are used",
        }
    }
}

/// Why octets are no datagram of the gateway's protocol.
#[derive(Clone, Debug, Eq, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum WireError {
    /// It ends within its header.
    #[error("{present} bytes: a {what} has at least {needed}")]
    Short {
        /// What it would be.
        what: &'static str,
        /// Octets that its header takes.
        needed: usize,
        /// Octets that there are.
        present: usize,
    },
    /// Octet 0 is neither 1 nor 2.
    #[error("byte 0: version {0}; the protocol has 1 and 2")]
    Version(u8),
    /// Octet 3 is no identifier.
    #[error("byte 3: identifier {0}; the protocol has 0 to 5")]
    Identifier(u8),
    /// The JSON cannot be read.
    #[error("JSON from byte {at}: {why}")]
    Json {
        /// Where it begins.
        at: usize,
        /// What is wrong with it.
        why: IntakeError,
    },
}

/// Why octets are no LoRaTap packet.
#[derive(Clone, Debug, Eq, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum LoraTapError {
    /// Another version.
    #[error("LoRaTap version {0}; 0 and 1 are known")]
    Version(u8),
    /// The packet ends within the header.
    #[error("{needed} bytes of LoRaTap header needed, {present} left")]
    Short {
        /// Octets of the header.
        needed: usize,
        /// Octets that there are.
        present: usize,
    },
    /// `lt_length` is less than the header of its version has.
    #[error("lt_length {stated}: the header of version {version} has {needed} bytes")]
    Length {
        /// The version.
        version: u8,
        /// What is stated.
        stated: usize,
        /// What it is at least.
        needed: usize,
    },
}
