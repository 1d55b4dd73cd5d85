//! What a capture holds besides frames, by gateway and kind.

use std::collections::BTreeMap;

use super::event::{Event, Leg, Network, Setup, What, Witness};
use crate::id::Eui64;

/// Gateways that are told apart.
const MOST_GATEWAYS: usize = 4_096;

/// How many there are of each kind of thing, by gateway.
#[derive(Clone, Debug, Default)]
pub struct Holdings(BTreeMap<Option<Eui64>, BTreeMap<HoldingKind, u64>>);

/// A kind of thing in a capture that is no frame.
#[derive(Clone, Copy, Debug, Eq, Ord, PartialEq, PartialOrd)]
#[non_exhaustive]
pub enum HoldingKind {
    /// PUSH_DATA.
    PushData,
    /// PUSH_ACK.
    PushAck,
    /// PULL_DATA.
    PullData,
    /// PULL_ACK.
    PullAck,
    /// TX_ACK.
    TxAck,
    /// Statistics of a gateway.
    Statistics,
    /// Discovery of the station protocol.
    Discovery,
    /// `version`.
    Version,
    /// `router_config`.
    RouterConfig,
    /// `dntxed`.
    Transmitted,
    /// The end of a websocket connection.
    Close,
    /// An ICMP error.
    Icmp,
    /// A question to the DNS, or an answer.
    Dns,
    /// A line in somebody's own words.
    Statement,
}

impl HoldingKind {
    /// Returns it as the protocols spell it, or as people say it.
    pub const fn name(self) -> &'static str {
        match self {
            Self::PushData => "PUSH_DATA",
            Self::PushAck => "PUSH_ACK",
            Self::PullData => "PULL_DATA",
            Self::PullAck => "PULL_ACK",
            Self::TxAck => "TX_ACK",
            Self::Statistics => "statistics",
            Self::Discovery => "discovery",
            Self::Version => "version",
            Self::RouterConfig => "router_config",
            Self::Transmitted => "dntxed",
            Self::Close => "close",
            Self::Icmp => "ICMP error",
            Self::Dns => "DNS message",
            Self::Statement => "statement",
        }
    }

    fn of(event: &Event) -> Option<Self> {
        Some(match &event.what {
            What::Asked(Leg::Push) => Self::PushData,
            What::Asked(Leg::Pull) => Self::PullData,
            What::Acknowledged(Leg::Push) => Self::PushAck,
            What::Acknowledged(Leg::Pull) => Self::PullAck,
            What::Outcome(outcome) if outcome.by == Witness::Station => Self::Transmitted,
            What::Outcome(_) => Self::TxAck,
            What::Status(_) => Self::Statistics,
            What::Setup(setup) => match **setup {
                Setup::Plan(_) => Self::RouterConfig,
                Setup::Version(_) => Self::Version,
                Setup::Discovery(_) => Self::Discovery,
            },
            What::Closed(_) => Self::Close,
            What::Network(network) => match **network {
                Network::Unreachable { .. } => Self::Icmp,
                Network::Asked { .. } | Network::Resolved { .. } => Self::Dns,
            },
            What::Said(_) => Self::Statement,
            What::Heard(_) | What::Ordered(_) | What::Gap(_) => return None,
        })
    }
}

impl Holdings {
    /// Counts an event.
    pub fn take(&mut self, event: &Event) {
        let Some(kind) = HoldingKind::of(event) else { return };
        if self.0.len() < MOST_GATEWAYS || self.0.contains_key(&event.gateway) {
            *self.0.entry(event.gateway).or_default().entry(kind).or_default() += 1;
        }
    }

    /// Returns whether there is nothing.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// Returns the gateways, and what there is of each: kinds in the order of the protocol.
    pub fn iter(
        &self,
    ) -> impl Iterator<Item = (Option<Eui64>, impl Iterator<Item = (HoldingKind, u64)>)> {
        self.0.iter().map(|(eui, kinds)| (*eui, kinds.iter().map(|(kind, n)| (*kind, *n))))
    }
}
