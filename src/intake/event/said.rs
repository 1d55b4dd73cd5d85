//! Statements: the own words of a node, a gateway or a server.

use super::{Leg, TxError};
use crate::id::{DevAddr, DevEui, Eui64};

/// Somebody's statement. Its line is the place of its event.
#[derive(Clone, Debug, PartialEq)]
pub struct Said {
    /// Who says it.
    pub by: Speaker,
    /// The node that it is about, where it names one.
    pub about: Option<Subject>,
    /// What it says.
    pub what: Statement,
    /// The words, cut to a length that evidence can print; no key is among them.
    pub words: Option<Box<str>>,
}

/// Who makes a statement.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
#[non_exhaustive]
pub enum Speaker {
    /// The node, on its console.
    Node,
    /// A gateway, in its log or its messages.
    Gateway,
    /// A network or join server, in its log.
    Server,
}

impl Speaker {
    /// Returns `node`, `gateway` or `server`.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Node => "node",
            Self::Gateway => "gateway",
            Self::Server => "server",
        }
    }
}

/// The node that a statement is about.
#[derive(Clone, Debug, Eq, Hash, PartialEq)]
#[non_exhaustive]
pub enum Subject {
    /// By its DevEUI.
    DevEui(DevEui),
    /// By the address of its session.
    DevAddr(DevAddr),
    /// By its name on the roster.
    Name(String),
}

/// What is stated.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum Statement {
    /// The counter of the gateway's concentrator began again.
    CounterRestarted,
    /// A request to join came in.
    Asked,
    /// A request to join was accepted.
    Accepted {
        /// The address of the new session.
        dev_addr: Option<DevAddr>,
    },
    /// A Join-Accept was handed on.
    AcceptSent,
    /// A frame was refused.
    Refused(Refusal),
    /// Data came and was taken.
    UplinkTaken {
        /// Its counter.
        fcnt: Option<u32>,
    },
    /// A downlink was not sent.
    NotSent {
        /// Why, in the protocol's word.
        error: TxError,
        /// The slot that it was for and the counter when it came, microseconds.
        counters: Option<(u32, u32)>,
    },
    /// There is no gateway to send a downlink through.
    NoDownlinkPath,
    /// The gateway's EUI is not registered.
    UnknownGateway,
    /// The gateway receives one channel alone.
    OneChannel {
        /// The frequency, hertz.
        freq_hz: u32,
    },
    /// A figure of a gateway's statistics.
    Counted(Count),
    /// A transmission ended, or begins.
    Transmitted {
        /// The frequency, hertz.
        freq_hz: Option<u32>,
    },
    /// A first receive window opened.
    WindowOpened {
        /// From the end of transmission, microseconds.
        after_us: i64,
        /// The frequency and how fine it is written, hertz.
        freq_hz: Option<(u32, u32)>,
        /// Whether it follows a request to join.
        of_join: bool,
    },
    /// The node begins to join.
    Joining,
    /// The join is done.
    Joined {
        /// The address of the new session.
        dev_addr: Option<DevAddr>,
    },
    /// The join failed.
    JoinFailed,
    /// The node's DevEUI was set, to what its firmware claims.
    DevEuiSet,
    /// The node's root key was set, to what its firmware claims.
    RootKeySet,
}

/// Why a frame was refused.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
#[non_exhaustive]
pub enum Refusal {
    /// The DevNonce was used before.
    NonceUsed {
        /// The DevNonce.
        nonce: Option<u16>,
    },
    /// The DevNonce does not rise.
    NonceTooSmall {
        /// The DevNonce.
        nonce: Option<u16>,
        /// The last that was taken.
        last: Option<u16>,
    },
    /// The DevEUI, or the DevAddr, is not registered.
    UnknownDevice,
    /// The MIC does not hold.
    MicInvalid,
    /// The JoinEUI is not the one on record.
    JoinEuiDiffers {
        /// The one heard.
        heard: Option<Eui64>,
        /// The one on record.
        on_record: Option<Eui64>,
    },
    /// The frame counter does not rise.
    CounterTooLow {
        /// The counter of the frame.
        fcnt: Option<u32>,
        /// The last that was taken.
        last: Option<u32>,
    },
}

/// A figure of a gateway's statistics, in words.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub enum Count {
    /// Receptions, and the share of them with a good CRC, per cent.
    Received(u64, f64),
    /// Datagrams sent, and the share of them that was acknowledged, per cent.
    Acknowledged(Leg, u64, f64),
    /// Orders to send that came from the server.
    Ordered(u64),
}
