//! Events: what a capture says, one thing after the other.
//!
//! Every capture format becomes events, and nothing but events leaves `intake`. A frame is decoded
//! here, once, and travels in its event.
//!
//! | event | says |
//! |-------|------|
//! | [`What::Heard`] | a gateway received a frame |
//! | [`What::Ordered`] | a server orders a gateway to send a frame |
//! | [`What::Outcome`] | what became of such an order |
//! | [`What::Asked`], [`What::Acknowledged`] | PUSH_DATA and PULL_DATA; PUSH_ACK and PULL_ACK |
//! | [`What::Status`] | a gateway's statistics |
//! | [`What::Setup`] | how a server sets up a gateway |
//! | [`What::Closed`] | a websocket connection ended |
//! | [`What::Network`] | an ICMP error, an answer of the DNS |
//! | [`What::Said`] | the words of a node, a gateway or a server |
//! | [`What::Gap`] | something is damaged: what may be missing here |
//!
//! A datagram with several frames is several events: first the datagram itself, then what is in it.

mod gap;
mod gateway;
mod radio;
mod said;
mod wire;

use jiff::Timestamp;

use super::note::Note;
use crate::{
    frame::{Decoded, Direction},
    id::Eui64,
};

pub use gap::{Damage, Gap, Lost};
pub use gateway::{
    Closed, Discovery, GatewayPlan, Leg, Outcome, Setup, Stat, StationVersion, TxError, Witness,
};
pub use radio::{CodeRate, Crc, Heard, Ordered, When};
pub use said::{Count, Refusal, Said, Speaker, Statement, Subject};
pub use wire::{Ends, Network, Sender, Unreachable, Wire};

/// One thing that a capture says.
#[derive(Clone, Debug, PartialEq)]
pub struct Event {
    /// Where it is in the captures.
    pub place: Position,
    /// When it was captured.
    pub time: Option<Timestamp>,
    /// The gateway that it is about.
    pub gateway: Option<Eui64>,
    /// The datagram that carried it, as far as the capture shows it.
    pub wire: Wire,
    /// How it was found.
    pub found: HowFound,
    /// What it says.
    pub what: What,
    /// What was odd about it; all that is not named here is intact.
    pub notes: Vec<Note>,
}

/// What an event says. The large ones are boxed: events move through queues.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum What {
    /// A gateway received a frame.
    Heard(Box<Heard>),
    /// A server orders a gateway to send a frame.
    Ordered(Box<Ordered>),
    /// What became of an order to send: a TX_ACK, a `dntxed`.
    Outcome(Box<Outcome>),
    /// The gateway's PUSH_DATA or PULL_DATA itself: before what is in it.
    Asked(Leg),
    /// The server's PUSH_ACK or PULL_ACK.
    Acknowledged(Leg),
    /// A gateway's statistics.
    Status(Box<Stat>),
    /// How a server sets up a gateway, which version the gateway has, how it finds its server.
    Setup(Box<Setup>),
    /// The end of a websocket connection.
    Closed(Box<Closed>),
    /// What the network says of the gateway's datagrams.
    Network(Box<Network>),
    /// Somebody's own words.
    Said(Box<Said>),
    /// Something that cannot be read.
    Gap(Box<Gap>),
}

impl Event {
    /// Returns an event of which nothing else is known.
    pub fn new(place: Position, what: What) -> Self {
        let (wire, found) = (Wire::default(), HowFound::Whole);
        Self { place, time: None, gateway: None, wire, found, what, notes: Vec::new() }
    }

    /// Returns a frame by itself: nothing is known of it but the order. Its MHDR says which way it went.
    pub fn bare(place: Position, octets: &[u8]) -> Self {
        let frame = crate::frame::decode(octets);
        let direction = frame.mhdr().and_then(|mhdr| mhdr.ftype().direction());
        let what = match direction {
            Some(Direction::Downlink) => What::Ordered(Box::new(Ordered::of(frame))),
            Some(Direction::Uplink) | None => What::Heard(Box::new(Heard::of(frame))),
        };
        Self { found: HowFound::Alone, ..Self::new(place, what) }
    }

    /// Returns the frame, with what a gateway says of it, where one was received.
    pub fn heard(&self) -> Option<&Heard> {
        if let What::Heard(heard) = &self.what { Some(heard) } else { None }
    }

    /// Returns the frame that a gateway is to send.
    pub fn ordered(&self) -> Option<&Ordered> {
        if let What::Ordered(ordered) = &self.what { Some(ordered) } else { None }
    }

    /// Returns what became of an order to send.
    pub fn outcome(&self) -> Option<&Outcome> {
        if let What::Outcome(outcome) = &self.what { Some(outcome) } else { None }
    }

    /// Returns a gateway's statistics.
    pub fn status(&self) -> Option<&Stat> {
        if let What::Status(stat) = &self.what { Some(stat) } else { None }
    }

    /// Returns what is damaged here.
    pub fn gap(&self) -> Option<&Gap> {
        if let What::Gap(gap) = &self.what { Some(gap) } else { None }
    }

    /// Returns the frame that was received or is to be sent.
    pub fn frame(&self) -> Option<&Decoded> {
        match &self.what {
            What::Heard(heard) => Some(&heard.frame),
            What::Ordered(ordered) => Some(&ordered.frame),
            _ => None,
        }
    }

    /// Returns the frame that was received or is to be sent, and nothing else of it.
    pub fn into_frame(self) -> Option<Decoded> {
        match self.what {
            What::Heard(heard) => Some(heard.frame),
            What::Ordered(ordered) => Some(ordered.frame),
            _ => None,
        }
    }

    /// Returns which way its frame went; `None` where the capture does not say it.
    ///
    /// The MHDR may say otherwise: a gateway hears other gateways, too.
    pub const fn direction(&self) -> Option<Direction> {
        match (&self.what, self.found) {
            (_, HowFound::Alone) => None,
            (What::Heard(_), _) => Some(Direction::Uplink),
            (What::Ordered(_), _) => Some(Direction::Downlink),
            _ => None,
        }
    }
}

/// Where in the captures something is; compared in the order of the captures.
#[derive(Clone, Copy, Debug, Default, Eq, Hash, Ord, PartialEq, PartialOrd)]
pub struct Position {
    /// Which capture, counted from 0.
    pub source: u16,
    /// What `number` counts.
    pub unit: Unit,
    /// The line or packet, from 1; 0 for what is in neither.
    pub number: u64,
    /// How many more lines it goes over.
    pub more: u32,
    /// Which of the events of its line or packet, from 0.
    pub index: u16,
}

impl Position {
    /// Returns a line of the first capture.
    pub const fn line(number: u64) -> Self {
        Self { source: 0, unit: Unit::Line, number, more: 0, index: 0 }
    }

    /// Returns a packet of the first capture.
    pub const fn packet(number: u64) -> Self {
        Self { unit: Unit::Packet, ..Self::line(number) }
    }

    /// Returns the last line, where there are several.
    pub const fn line_to(self) -> Option<u64> {
        if self.more == 0 { None } else { Some(self.number.saturating_add(self.more as u64)) }
    }

    /// Returns whether both are in one line, or in one packet.
    pub fn is_with(self, other: Self) -> bool {
        (self.source, self.unit, self.number) == (other.source, other.unit, other.number)
    }
}

impl std::fmt::Display for Position {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} {}", self.unit, self.number)?;
        if self.source == 0 { Ok(()) } else { write!(f, " of capture {}", self.source + 1) }
    }
}

/// What a capture is counted in.
#[derive(Clone, Copy, Debug, Default, Eq, Hash, Ord, PartialEq, PartialOrd)]
pub enum Unit {
    /// Lines of text.
    #[default]
    Line,
    /// Packets of a recorded network or radio.
    Packet,
}

impl Unit {
    /// Returns `line` or `packet`.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Line => "line",
            Self::Packet => "packet",
        }
    }
}

impl std::fmt::Display for Unit {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.name())
    }
}

/// How an event was found: how much it says that others are not there.
#[derive(Clone, Copy, Debug, Default, Eq, Hash, PartialEq)]
pub enum HowFound {
    /// In a capture format, with nothing around it.
    #[default]
    Whole,
    /// In a capture format, after the words of a log.
    Prefixed,
    /// In text that states no format: it was guessed.
    Guessed,
    /// A frame by itself: of time, gateway and radio nothing is known but the order.
    Alone,
    /// As a receiver heard it on the air: what a server said is not there.
    OnAir,
}

impl HowFound {
    /// Returns whether a line of text had to be searched for it.
    pub const fn is_in_text(self) -> bool {
        matches!(self, Self::Prefixed | Self::Guessed)
    }

    /// Returns whether an uplink that is not there was not received: logs leave out what they like.
    pub const fn is_complete(self) -> bool {
        matches!(self, Self::Whole | Self::Prefixed | Self::OnAir)
    }
}
