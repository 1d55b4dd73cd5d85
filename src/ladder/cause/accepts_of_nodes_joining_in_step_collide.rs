//! Cause `accepts-of-nodes-joining-in-step-collide`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::ladder::join;

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::AcceptsOfNodesJoiningInStepCollide,
    what: "the accept collides with those of other nodes whose requests keep step",
    places: &[Place::Join(join::Rung::Sent)],
    kind: Kind::Exact,
    checks: &[Check::Join(join::sent::collision)],
    page: PAGE,
};

const PAGE: &str = r#"# accepts-of-nodes-joining-in-step-collide
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
3. Keep sessions over power cuts, so that not all must join anew.
4. To recover now, switch the nodes on one after another. The back-off and
   the local duty cycle stay in force.

## Example
Five probes behind one switch, EU868, SF9, retry each 30.000 s. Requests at
06:00:00.0 to 06:00:00.2. An accept of 33 octets lasts 246.8 ms: within
0.2 s all five overlap. The server uses RX1 only. Each round one accept is
sent and the others are refused; after five rounds all have joined.

## Source
LoRaWAN, chapter on retransmission back-off (limits); the gateway
packet-forwarder protocol, `txpk_ack`; time on air computed.
"#;
