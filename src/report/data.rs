//! How a trace keeps data frames, read in one place.

use std::collections::BTreeSet;

use crate::{
    id::DevAddr,
    trace::{Data, NodeTrace},
};

/// A data frame of a node that the trace still has.
#[derive(Clone, Copy, Debug)]
pub(super) struct Seen<'a> {
    pub(super) data: &'a Data,
    /// Whether its MIC holds in a session of the node.
    pub(super) holds: bool,
    /// Whether keys of a session of its address are at hand.
    pub(super) has_session: bool,
    /// Its whole counter, where the MIC says it.
    pub(super) fcnt: Option<u32>,
}

impl<'a> Seen<'a> {
    /// Returns the PHYPayload.
    pub(super) fn octets(&self) -> &'a [u8] {
        match self.data {
            Data::Up { heard, .. } => &heard.octets,
            Data::Down { sending, .. } => &sending.octets,
        }
    }
}

/// Returns the data frames of a node, in the order of the capture.
pub(super) fn of(node: &NodeTrace) -> Vec<Seen<'_>> {
    let held = node.sessions.iter().flat_map(|session| &session.frames);
    let held = held.map(|seen| Seen {
        data: &seen.data,
        holds: true,
        has_session: true,
        fcnt: Some(seen.held.fcnt),
    });
    let keys_of: BTreeSet<DevAddr> = node
        .sessions
        .iter()
        .filter(|session| !session.candidates.is_empty())
        .map(|session| session.dev_addr)
        .collect();
    let others = node.unverified.iter().map(|data| Seen {
        data,
        holds: false,
        has_session: keys_of.contains(&data.frame().dev_addr),
        fcnt: None,
    });
    let mut all: Vec<_> = held.chain(others).collect();
    all.sort_by_key(|seen| seen.data.line());
    all
}
