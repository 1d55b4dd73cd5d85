//! The working behind a node's verdict: the request that tells, its answer, the first data.

use super::{
    Sheet,
    frame::{of_mic, of_reading},
};
use crate::{
    frame::decode,
    ladder::Diagnosis,
    reading::{Context, CounterHint, KeyRing, Sessions},
    roster::{ClaimKind, Roster},
    trace::{Data, DataSeen, NodeTrace, Origin, Trace},
};

/// Returns the computations that decide what is said of a node: the MIC of the request of the
/// attempt that tells, under the record's keys; its accept opened, and the session keys that come of it;
/// the MIC of the first data frame. Nothing where the roster has no key for it.
pub fn of_node(diagnosis: &Diagnosis, trace: &Trace, roster: &Roster) -> Vec<Sheet> {
    let Some(node) = trace.nodes.get(diagnosis.place) else { return Vec::new() };
    let Some(entry) = node.index.and_then(|index| roster.nodes.get(index)) else {
        return Vec::new();
    };
    let alone = Roster { nodes: vec![entry.clone()], ..Roster::default() };
    let mut ring = KeyRing::default();
    ring.add_roster_of(&alone, |kind| kind == ClaimKind::Record);
    if ring.bunches().is_empty() {
        ring.add_roster(&alone);
    }
    let record = entry.record.as_ref().or(entry.firmware.as_ref());
    let mac_version = record.and_then(|claim| claim.mac_version);
    let of_node = Context { mac_version, ..Context::default() };
    let mut memory = Sessions::default();
    let mut sheets = Vec::new();
    let mut read = |octets: &[u8], context: &Context| memory.read(decode(octets), &ring, context);
    if let Some(attempt) = diagnosis.told.and_then(|told| node.attempts.get(told)) {
        sheets.extend(of_reading(&read(&attempt.heard.octets, &of_node)));
        let context = Context {
            dev_nonce: attempt.ask.nonce(),
            dev_eui: attempt.ask.dev_eui().or(node.dev_eui),
            join_eui: attempt.ask.join_eui().or(node.join_eui),
            ..of_node.clone()
        };
        if let Some(answer) = attempt.answers.first() {
            sheets.extend(of_reading(&read(&answer.sending.octets, &context)));
        }
    }
    if let Some(seen) = first_data(node, diagnosis.told) {
        let uplink = seen.held.context;
        let context = Context {
            fcnt: Some(CounterHint(seen.held.fcnt)),
            conf_fcnt: uplink.map(|context| context.conf_fcnt),
            tx_dr: uplink.map(|context| context.tx_dr),
            tx_ch: uplink.map(|context| context.tx_ch),
            ..of_node
        };
        // What the data says is not what decides.
        sheets.extend(of_mic(&read(octets(&seen.data), &context)));
    }
    sheets
}

/// The first data frame of the session that the attempt made, or that a claim states.
fn first_data(node: &NodeTrace, told: Option<usize>) -> Option<&DataSeen> {
    let of_it = |origin| match origin {
        Origin::Accept { attempt, .. } => Some(attempt) == told,
        Origin::Claim(_) => told.is_none(),
    };
    node.sessions.iter().filter(|session| of_it(session.origin)).find_map(|s| s.frames.first())
}

fn octets(data: &Data) -> &[u8] {
    match data {
        Data::Up { heard, .. } => &heard.octets,
        Data::Down { sending, .. } => &sending.octets,
    }
}
