//! Statements: the own words of a node, a gateway or a server.

use crate::id::{DevAddr, DevEui};

/// Somebody's statement. Its line is the place of its event.
#[derive(Clone, Debug, PartialEq)]
pub struct Said {
    /// Who says it.
    pub by: Speaker,
    /// The node that it is about, where it names one.
    pub about: Option<Subject>,
    /// What it says.
    pub what: Statement,
    /// The words, cut to a length that evidence can print.
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
    /// A frame was received.
    Received {
        /// The frequency, hertz.
        freq_hz: Option<u32>,
    },
    /// A transmission ended.
    Transmitted {
        /// The frequency, hertz.
        freq_hz: Option<u32>,
    },
    /// A receive window opened.
    WindowOpened {
        /// 1 or 2.
        window: Option<u8>,
        /// The frequency, hertz.
        freq_hz: Option<u32>,
    },
    /// The join is done.
    Joined {
        /// The address of the new session.
        dev_addr: Option<DevAddr>,
    },
    /// The join failed.
    JoinFailed,
    /// A request was refused.
    Refused {
        /// Why, in the speaker's own words.
        reason: String,
    },
}
