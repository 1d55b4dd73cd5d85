//! What a gateway of the station protocol and its server say to each other besides frames.

use crate::{
    intake::{Closed, Discovery},
    trace::Moment,
};

/// A connection that ends sooner than this is short.
const SHORT_US: i64 = 60_000_000;
/// Connections that are kept.
const MOST_TOLD: usize = 8;

/// The connections of a gateway to its server.
#[derive(Clone, Debug, Default)]
pub struct Connections {
    /// Its own messages besides frames: discovery, `version`.
    pub messages: u64,
    /// The first of them.
    pub first: Option<Moment>,
    /// Discoveries that the server refused: how many, the first and the last, and why.
    pub refused: Option<Refused>,
    /// Discoveries that the server answered with an address.
    pub welcomed: u64,
    /// `version` messages.
    pub versions: u64,
    /// `version` messages since the last `router_config`: how many, the first of them.
    pub unconfigured: (u64, Option<Moment>),
    /// `router_config` messages, and the last of them.
    pub configs: (u64, Option<Moment>),
    /// How long the connection was open at the longest, after a `router_config` and until the gateway's last
    /// message on it, microseconds.
    pub open_us: i64,
    /// Connections that ended within a minute, in a row: now, and at the most.
    pub short: (u64, u64),
    /// The first few connections that ended.
    pub ended: Vec<Connection>,
    begun: Option<Moment>,
}

/// Discoveries that the server refused.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct Refused {
    /// How many.
    pub times: u64,
    /// The first, and the last.
    pub span: (Moment, Moment),
    /// Why, in the server's words.
    pub reason: String,
}

/// A connection that ended.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct Connection {
    /// Its first message, and its end.
    pub span: (Moment, Moment),
    /// The end as the recorder says it; `None` where only the next connection shows it.
    pub closed: Option<Closed>,
}

impl Connections {
    /// Returns whether the capture has anything of this protocol.
    pub const fn is_used(&self) -> bool {
        self.messages + self.configs.0 > 0
    }

    pub(super) fn discovery(&mut self, moment: Moment, discovery: &Discovery) {
        match discovery {
            Discovery::Asked => self.own(moment),
            Discovery::Answered => self.welcomed += 1,
            Discovery::Refused { reason } => {
                if let Some(refused) = &mut self.refused {
                    refused.times += 1;
                    refused.span.1 = moment;
                } else {
                    let (span, reason) = ((moment, moment), reason.clone());
                    self.refused = Some(Refused { times: 1, span, reason });
                }
            }
        }
    }

    /// A connection begins with the gateway's version.
    pub(super) fn version(&mut self, moment: Moment) {
        self.own(moment);
        self.end(moment, None);
        self.versions += 1;
        self.unconfigured.0 += 1;
        self.unconfigured.1.get_or_insert(moment);
        self.begun = Some(moment);
    }

    pub(super) fn configured(&mut self, moment: Moment) {
        self.configs = (self.configs.0 + 1, Some(moment));
        self.unconfigured = (0, None);
        self.begun.get_or_insert(moment);
    }

    pub(super) fn closed(&mut self, moment: Moment, closed: &Closed) {
        self.end(moment, Some(closed));
    }

    /// A frame or a report of the gateway: its connection is open.
    pub(super) fn speaks(&mut self, moment: Moment) {
        let since = match (self.begun, self.configs.1) {
            (Some(begun), Some(configured)) if configured.line >= begun.line => configured,
            _ => return,
        };
        self.open_us = self.open_us.max(moment.since(since).unwrap_or_default());
    }

    fn own(&mut self, moment: Moment) {
        self.messages += 1;
        self.first.get_or_insert(moment);
    }

    fn end(&mut self, moment: Moment, closed: Option<&Closed>) {
        let Some(begun) = self.begun.take() else { return };
        let short = moment.since(begun).is_some_and(|us| us < SHORT_US);
        self.short.0 = if short { self.short.0 + 1 } else { 0 };
        self.short.1 = self.short.1.max(self.short.0);
        if self.ended.len() < MOST_TOLD {
            self.ended.push(Connection { span: (begun, moment), closed: closed.cloned() });
        }
    }
}
