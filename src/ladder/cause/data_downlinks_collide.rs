//! Cause `data-downlinks-collide`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::ladder::session;

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::DataDownlinksCollide,
    what: "the gateway refuses most downlinks since it sends something else then",
    places: &[Place::Session(session::Rung::Sent)],
    kind: Kind::Exact,
    checks: &[Check::Session(session::sent::collisions)],
    page: PAGE,
};

const PAGE: &str = r"# data-downlinks-collide
The gateway has no free time for most of this node's downlinks.

## What is seen
At the server: downlinks sent. At the gateway: TX_ACK with COLLISION_PACKET
or COLLISION_BEACON. At the node: windows empty, confirmed frames repeated.

## Why it happens
A gateway sends one frame at a time. Two servers on one gateway, nodes that
send in step, long downlinks at SF12, or beacons in the same slot leave no
room. It refuses what overlaps with a frame already in its queue.

## How to be sure
COLLISION_PACKET or COLLISION_BEACON for three downlinks and more, and for
most of them. That they were refused is certain; what they overlap with may
be of another node, or of another server, and not in this capture.

Once in a while is ordinary. One refused in RX1 and taken in RX2 is no
fault.

## What to do
1. Let the server use the other window or another gateway.
2. Look for a second server, or for beacons, on this gateway.
3. Spread the nodes' intervals by chance.

## Example
Of twelve ACKs for probe-36 nine are refused with COLLISION_PACKET. Its
neighbours send in the same second, on one timer.

## Source
The gateway packet-forwarder protocol, `txpk_ack`.
";
