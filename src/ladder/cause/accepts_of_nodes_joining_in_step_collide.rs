//! Cause `accepts-of-nodes-joining-in-step-collide`.

use std::{collections::BTreeSet, time::Duration};

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Cite, Fact, Value, fact},
    frame::Direction,
    id::DevEui,
    intake::{TxError, When},
    ladder::{
        finding::Finding,
        join::{self, Case, sent},
    },
    radio::time_on_air,
    trace::{Answer, Sending},
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::AcceptsOfNodesJoiningInStepCollide,
    what: "the accept collides with those of other nodes whose requests keep step",
    places: &[Place::Join(join::Rung::Sent)],
    kind: Kind::Exact,
    checks: &[Check::Join(check)],
    page: PAGE,
};

/// Evidence of one kind is told of this many accepts.
const MOST_TOLD: usize = 4;
/// Requests that keep step to within this are not jittered, microseconds.
const IN_STEP_US: u64 = 50_000;

fn check(case: &Case<'_>) -> Option<Finding> {
    let refused = sent::refusals(case, |e| *e == TxError::CollisionPacket);
    let mut rivals: Vec<(&Answer, &Answer, Option<DevEui>)> = Vec::new();
    for (_, answer) in &refused {
        let others = case.trace.nodes.iter().filter(|n| !std::ptr::eq(*n, case.node));
        for other in others {
            for rival in other.attempts.iter().flat_map(|a| &a.answers) {
                if overlap(&answer.sending, &rival.sending) {
                    rivals.push((answer, rival, other.dev_eui));
                }
            }
        }
    }
    let &(.., name) = rivals.first()?;
    let hit: BTreeSet<Option<DevEui>> = rivals.iter().map(|r| r.2).collect();
    // Two nodes meet once by chance.
    let certainty = if rivals.len() >= 2 { Certainty::Certain } else { Certainty::Possible };
    let mut finding = Finding::new(
        certainty,
        fact!(
            "the accept collides in the gateway with that of {rivals}: their requests keep step, and \
             one gateway sends one frame at a time",
            rivals = if hit.len() == 1 {
                named(name)
            } else {
                fact!("{others}", others = Value::count(hit.len(), "other node"))
            }
        ),
        "let the nodes wait a random time before each request, longer after each failure, and keep \
         their session over a power cut; set the server to use RX2 or another gateway when the slot \
         is taken",
    );
    for (answer, rival, name) in rivals.iter().take(MOST_TOLD) {
        finding.add(fact!(
            "{accept}: slot overlaps that of {rival} ({other})",
            accept = Cite::from(&answer.sending).with_time(),
            rival = named(*name),
            other = &rival.sending
        ));
    }
    let steps = intervals(case);
    if let [first, ..] = steps[..]
        && steps.len() >= 2
        && steps.iter().all(|s| s.abs_diff(first) < IN_STEP_US)
    {
        finding.add(fact!(
            "its requests come every {interval}, without jitter",
            interval = Value::About(first)
        ));
    }
    Some(finding)
}

fn named(node: Option<DevEui>) -> Fact {
    node.map_or(Fact::from("another node"), |dev_eui| fact!("{dev_eui}", dev_eui))
}

/// The counter interval that a downlink occupies on its gateway.
fn occupied(sending: &Sending) -> Option<(u32, u32)> {
    let When::Counter(slot) = sending.when else { return None };
    let air: Duration =
        time_on_air(sending.modulation?, sending.octets.len(), Direction::Downlink)?;
    Some((slot, u32::try_from(air.as_micros()).ok()?))
}

fn overlap(a: &Sending, b: &Sending) -> bool {
    let (Some((a_at, a_for)), Some((b_at, b_for))) = (occupied(a), occupied(b)) else {
        return false;
    };
    a.gateway == b.gateway && (b_at.wrapping_sub(a_at) < a_for || a_at.wrapping_sub(b_at) < b_for)
}

/// Microseconds between the node's requests.
fn intervals(case: &Case<'_>) -> Vec<i64> {
    let at: Vec<i64> =
        case.node.attempts.iter().filter_map(|a| Some(a.heard.at()?.as_microsecond())).collect();
    at.windows(2).filter_map(|w| if let [a, b] = w { Some(b - a) } else { None }).collect()
}

const PAGE: &str = r"# accepts-of-nodes-joining-in-step-collide
Accepts are refused because several nodes ask at the same moment, again and
again.

## What is seen
At the gateway: TX_ACK with COLLISION_PACKET for some accepts, success for
others. At the nodes: after a power cut many start together; one joins in
each round. At the server: accept sent, now and then with an error.

## Why it happens
A gateway sends one frame at a time. Nodes that start together and retry at
a fixed interval keep step; their requests pass on different channels, but
the answers all fall at +5 s. Crystals drift apart by parts per million
only, so chance does not part them soon.

## How to be sure
The slot and the time on air of the refused accept overlap those of a
downlink already taken: slot2 < slot1 + air time. Then look at the requests:
intervals of one node constant to the millisecond, and several nodes with
the same phase, round after round. A single collision is no more than
traffic; three rounds of the same nodes is step.

It is not interference, and rarely capacity. A node that is silent for hours
afterwards may obey the back-off: 36 s of airtime in the first hour, 36 s in
the next ten, 8.7 s in each 24 hours after. At SF12 (1.483 s) that is 24
requests, then 24, then 5 a day.

## What to do
1. In the node: a random delay before each request, and one that grows after
   each failure.
2. In the server: RX2 for the second node, or another gateway.
3. Keep sessions over power cuts, so that not all must join again.
4. To recover now, switch the nodes on one after another. The back-off and
   the local duty cycle stay in force.

## Example
Five probes behind one switch, EU868, SF9, retry each 30.000 s. Requests at
06:00:00.0 to 06:00:00.2. An accept of 33 bytes lasts 246.8 ms: within
0.2 s all five overlap. The server uses RX1 only. Each round one accept is
sent and the others are refused; after five rounds all have joined.

## Source
LoRaWAN, chapter on retransmission back-off (limits); the gateway
packet-forwarder protocol, `txpk_ack`; time on air computed.
";
