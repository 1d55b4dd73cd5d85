//! A node's frames in order: join exchanges, sessions, frame counters, copies.
//!
//! [`Tracer`] takes events as they were captured and yields a [`Trace`]: for every node of the
//! roster, and for every stranger heard, its attempts to join with all that answered them, and its
//! sessions with each data frame that authenticates. It states what happened and under which key;
//! what that means is the ladder's business.
//!
//! The order of judgement matters, and is kept here: receptions with a bad CRC prove nothing and
//! are dropped; identical octets are folded into one transmission; the MIC names the node before
//! its EUI does; an answer is paired by gateway counter modulo 2^32, and the key that opens it
//! decides where the counter cannot.

mod attempt;
mod clocks;
mod counters;
mod gateway;
mod hosts;
mod kept;
mod keys;
mod moment;
mod names;
mod network;
mod order;
mod pairing;
mod session;
pub mod settings;
mod sighting;
mod spread;
mod told;
mod tracer;

use std::collections::BTreeMap;

use jiff::Timestamp;

use crate::id::{DevAddr, DevEui, Eui64, JoinEui};

pub use attempt::{Answer, Ask, Attempt, Delay, Opening, Stray};
pub use clocks::ClockApart;
pub use counters::Counters;
pub use gateway::{
    ACKNOWLEDGED_WITHIN_US, Connection, Connections, Counts, Fate, Figures, Flow, GatewayTrace,
    Order, Orders, OtherTokens, Period, Periods, Radio, Radios, Receptions, Refused, Restart, Run,
    Server, Setting, StatAt, StatClock, Tally,
};
pub use hosts::{OtherFrame, OtherHost};
pub use kept::Kept;
pub use keys::{KeyRef, Role, RootKey, Rule};
pub use moment::Moment;
pub use network::{Asker, Askers, NameAsked, NetworkError, NetworkErrors};
pub use session::{Candidate, Data, DataSeen, Held, Origin, Session};
pub use sighting::{Ack, Line, Sending, Sighting, Transmission};
pub use spread::Spread;
pub use told::{Telling, Told};
pub use tracer::{GatewayTracer, Tracer};

pub(crate) use counters::{Given, HALVES_OF_1_1, SEARCHES_OF_A_NODE, at_the_start};
pub(crate) use keys::root_keys;
pub(crate) use names::Names;
#[cfg(feature = "live")]
pub(crate) use pairing::OpenOrders;
pub(crate) use pairing::{OrderKey, Requests, is_of};
pub(crate) use tracer::{is_copy, missing_dev_eui_byte, open as open_accept};

/// All that a capture says, sorted by node.
#[derive(Clone, Debug, Default)]
pub struct Trace {
    /// The nodes of the roster in its order, then strangers in the order heard.
    pub nodes: Vec<NodeTrace>,
    /// Every gateway that spoke; without an EUI where the capture names none.
    pub gateways: BTreeMap<Option<Eui64>, GatewayTrace>,
    /// Hosts that ask for names, whether or not they are gateways.
    pub askers: Askers,
    /// DevAddrs of data frames that belong to no node known, and how many frames each.
    pub foreign_data: BTreeMap<DevAddr, u64>,
    /// Frames of more such DevAddrs than are listed.
    pub foreign_more: u64,
    /// The first data frames of each such DevAddr, both ways, as long as they are few.
    pub strays: Vec<Data>,
    /// Requests of more strangers than are listed.
    pub strangers_more: u64,
    /// Join-Accepts handed to a gateway that answer no request in the capture.
    pub stray_accepts: Vec<Stray>,
    /// Receptions with a bad CRC, of which nothing was read.
    pub crc_bad: u64,
    /// Frames that were read.
    pub frames: u64,
    /// First and last time stamp.
    pub span: Option<(Timestamp, Timestamp)>,
    /// What is known to be missing.
    pub lacks: Lacks,
    /// Hosts that speak under the address of a gateway or a server; what they send is nowhere else.
    pub other_hosts: Vec<OtherHost>,
    /// Captures whose clocks were found apart, and were set right by the first one's.
    pub clocks: Vec<ClockApart>,
}

/// What a capture is known to lack, so that what is not there may have been.
#[derive(Clone, Debug, Default)]
pub struct Lacks {
    /// Frames from nodes that were left out as not asked for.
    pub uplinks: u64,
    /// Downlinks that were left out of the time asked for.
    pub downlinks: u64,
    /// Places in which something was damaged that may have been a downlink, the first of them.
    pub damaged: Vec<Line>,
    /// What was before is not judged.
    pub before: Option<Timestamp>,
    /// Whether something in it shows what was not received: a recording, or a format of its own.
    pub shows_silence: bool,
    /// Whether there is text in it, or a list of frames: that shows what somebody chose to show.
    pub has_text: bool,
}

impl Lacks {
    /// Returns whether all of it is text: what is not in there may well have been on the air.
    pub const fn is_text(&self) -> bool {
        self.has_text && !self.shows_silence
    }
}

/// The frames of one node.
#[derive(Clone, Debug, Default)]
pub struct NodeTrace {
    /// Its place on the roster; `None` for a stranger.
    pub index: Option<usize>,
    /// DevEUI, as sent if anything was heard, else as claimed.
    pub dev_eui: Option<DevEui>,
    /// JoinEUI, likewise.
    pub join_eui: Option<JoinEui>,
    /// Its attempts to join, in order.
    pub attempts: Kept<Attempt>,
    /// Its sessions: one for each accept that opens, and those that claims state.
    pub sessions: Kept<Session>,
    /// Data of its addresses that no key on hand verifies.
    pub unverified: Kept<Data>,
    /// What is said of it in words.
    pub told: Telling,
    /// Its address, where nothing else of it is known.
    pub dev_addr: Option<DevAddr>,
    /// Frames of its identity that are no whole Join-Request.
    pub misshapen: Kept<Transmission>,
    /// What is kept of requests that are forgotten.
    pub earlier: Earlier,
    /// Data frames of sessions that are forgotten.
    pub forgotten_frames: usize,
}

impl NodeTrace {
    /// Returns how many data frames authenticated, with those that are forgotten.
    pub fn data_frames(&self) -> usize {
        self.forgotten_frames + self.sessions.iter().map(|s| s.frames.total()).sum::<usize>()
    }

    /// Returns how many requests and data frames are counted, but no longer kept.
    pub fn forgotten(&self) -> (usize, usize) {
        let kept = self.sessions.iter().map(|s| s.frames.len()).sum::<usize>();
        let unverified = self.unverified.forgotten();
        (self.attempts.forgotten(), self.data_frames() - kept + unverified)
    }
}

/// What is kept of a node's requests when they are forgotten.
#[derive(Clone, Debug, Default)]
pub struct Earlier {
    /// The DevNonces, rising, each with the place in time of the request that had it first.
    pub nonces: Vec<(u16, u64)>,
    /// The highest that was answered, and the place in time of its request.
    pub answered: Option<(u16, u64)>,
}
