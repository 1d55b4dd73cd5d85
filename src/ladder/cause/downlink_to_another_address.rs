//! Cause `downlink-to-another-address`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    crypto::{derive::SessionKeys, mic},
    fact::{Certainty, Cite, Value, fact},
    frame::DataFrame,
    ladder::{
        finding::Finding,
        session::{self, Case, Story},
    },
    trace::{Data, Sending},
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::DownlinkToAnotherAddress,
    what: "downlinks in this node's windows are signed with its keys and carry another address",
    places: &[Place::Session(session::Rung::Received)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

/// So many decide.
const DECIDE: usize = 2;
/// Upper halves of the counter that are tried.
const UPPER_HALVES: u32 = 2;
/// Windows lie at complete seconds after the uplink, RxDelay 15 s at the most.
const FARTHEST_US: u32 = 16_000_000;

fn check(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let mut own: Vec<(&DataFrame, &Sending, usize, u32)> = Vec::new();
    for data in &case.trace.strays {
        let Data::Down { frame, sending, .. } = data else { continue };
        if case.node.sessions.iter().any(|session| session.dev_addr == frame.dev_addr) {
            continue;
        }
        let Some(turn) = answered(story, sending) else { continue };
        let holds = |fcnt: &u32| story.session.candidates.iter().any(|c| signs(&c.keys, frame, *fcnt));
        let mut counters = (0..UPPER_HALVES).map(|high| high << 16 | u32::from(frame.fcnt));
        if let Some(fcnt) = counters.find(holds) {
            own.push((frame, sending, turn, fcnt));
        }
    }
    let (frame, ..) = *own.first()?;
    let certainty = if own.len() >= DECIDE { Certainty::Certain } else { Certainty::Likely };
    let mut finding = Finding::new(
        certainty,
        fact!(
            "{downlinks} in this node's windows carry DevAddr {other_dev_addr}, and their MIC holds \
             under the keys of DevAddr {dev_addr}",
            downlinks = Value::Count(own.len() as u64, "downlink"),
            other_dev_addr = frame.dev_addr,
            dev_addr = story.session.dev_addr
        ),
        "correct the DevAddr that the server puts into downlinks of this session",
    );
    for (frame, sending, turn, fcnt) in own.iter().take(4) {
        finding.add(fact!(
            "{downlink}: in answer to {uplink}, DevAddr {other_dev_addr}, FCntDown {fcnt}; the MIC holds",
            downlink = Cite::from(*sending).with_time(),
            uplink = story.cite_turn(*turn),
            other_dev_addr = frame.dev_addr,
            fcnt = *fcnt
        ));
    }
    Some(finding.matched_by_chance(f64::from(UPPER_HALVES), own.len()))
}

/// The turn whose window a downlink is aimed at.
fn answered(story: &Story<'_>, sending: &Sending) -> Option<usize> {
    let turns = story.turns().iter().enumerate().rev();
    let hit = |place: &usize| {
        let Some(heard) = story.heard(*place) else { return false };
        heard.sightings().any(|sighting| {
            let us = sending.slot_after(sighting);
            let late = sending.arrival_after(sighting);
            us.is_some_and(|us| us <= FARTHEST_US && us % 1_000_000 < 1_000)
                && late.is_none_or(|late| (0..=i64::from(FARTHEST_US)).contains(&late))
        })
    };
    let mut turns = turns.filter(|(_, turn)| turn.sent.iter().any(hit));
    turns.next().map(|(number, _)| number)
}

/// Whether session keys sign a downlink with the address that it carries.
fn signs(keys: &SessionKeys, frame: &DataFrame, fcnt: u32) -> bool {
    match keys {
        SessionKeys::V1_0 { nwk_s_key, .. } => mic::data_1_0(nwk_s_key, frame, fcnt) == frame.mic,
        SessionKeys::V1_1 { s_nwk_s_int_key, .. } => {
            mic::data_down_1_1(s_nwk_s_int_key, frame, fcnt, 0) == frame.mic
        }
    }
}

const PAGE: &str = r#"# downlink-to-another-address
Downlinks come in this node's windows, signed with its keys, and carry
another DevAddr.

## What is seen
At the server: downlinks sent. At the gateway: taken and sent. At the node:
dropped, since the address is not its own; confirmed frames are repeated.

## Why it happens
The server puts the DevAddr of another node, or of another session, into the
frame and signs it with this session's keys: a mixed-up entry, or an address
that was changed by hand.

## How to be sure
A downlink with an address that no session of this node has, in one of its
windows. Compute the MIC under the node's network session key with the
address as sent: it holds. Two decide.

Multicast addresses have keys of their own. If the MIC holds under the keys
of an earlier session and the address is that session's, see
downlink-to-an-old-session.

## What to do
1. Correct the DevAddr of the session on the server.
2. Let the node join again: address and keys come together then.

## Example
probe-21 has DevAddr 02A10007. Three downlinks in RX1 of its uplinks carry
02A10009, and their MICs hold under its NwkSKey.

## Source
LoRaWAN 1.0.4, p. 18 (DevAddr), p. 25 (MIC).
"#;
