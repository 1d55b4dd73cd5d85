//! Cause `two-nodes-share-one-identity`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::ladder::join;

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::TwoNodesShareOneIdentity,
    what: "two nodes send under one DevEUI",
    places: &[Place::Join(join::Rung::Identified)],
    kind: Kind::Exact,
    checks: &[Check::Join(join::identified::shared)],
    page: PAGE,
};

const PAGE: &str = r#"# two-nodes-share-one-identity
Two nodes send under one DevEUI.

## What is seen
At the server: the node joins again and again, or its counter jumps to and
fro, or its values alternate between two places. At the gateway: signal
levels of one DevEUI in two groups. At the nodes: each works for a while,
then falls silent, because the other one's join has replaced its session.

## Why it happens
An image of one programmed node was copied to another; a replaced node was
repaired and put back; or the same label was used twice. With the same
DevEUI and key both are genuine to the server. In a version with counting
DevNonces the one whose counter is behind is refused; with random ones each
join displaces the other.

## How to be sure
Look for what one node cannot do: two sessions whose data both authenticate
and whose FCnt both count on, interleaved in time; or DevNonce values in two
separate rising rows; or two transmissions of the same DevEUI that overlap
in time on the air. Signal levels support it: with several gateways the
nodes form two clusters.

Look-alikes. One node that joins again leaves its old session: the old
counter stops, it does not count on. One transmission heard by two gateways
has equal octets. A ghost copy has equal octets on another channel. A node
that is carried about changes its level, but keeps one counter. With one
session at a time and one gateway the finding is at most possible.

## What to do
1. Switch one node off and see whether the other is then well.
2. Give each node its own DevEUI and its own key; register both.
3. Treat the shared key as known to whoever had the image, and replace it.
4. Find the step that copied the identity; check the whole batch.

## Example
DevEUI 02-00-00-FF-FE-0C-21-09 joins at 06:00 (DevAddr 020C2109) and at
06:07 (020C4410). From then on the frames of 020C2109 count 5, 6, 7 at
-71 dBm and those of 020C4410 count 0, 1, 2 at -104 dBm, minute by minute,
and all MICs hold under the keys of their own session. Two probes were
flashed from one image.

## Source
LoRaWAN 1.0.4, p. 45-46 (DevEUI, DevNonce); LoRaWAN 1.0.3, p. 35 (old
session kept until the first uplink under the new one).
"#;
