//! Cause `ghost-copy-of-a-node-too-close-to-the-gateway`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::ladder::session;

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::GhostCopyOfANodeTooCloseToTheGateway,
    what: "one transmission was received on several channels at once",
    places: &[Place::Session(session::Rung::Heard)],
    kind: Kind::Exact,
    checks: &[Check::Session(session::copies::ghost)],
    page: PAGE,
};

const PAGE: &str = r#"# ghost-copy-of-a-node-too-close-to-the-gateway
One transmission was received on several channels at once, and the ghost was
answered or kept.

## What is seen
At the gateway: the same octets twice within microseconds, on two channels,
one strong and one some 30 dB or more weaker. At the server: two joins, or a
session that never fits. At the node: an accept missed, or data refused.

## Why it happens
A transmitter a metre from the antenna overloads the receiver. The signal
appears in other channels, too, as a weak image. A server that takes the
frequency as part of a frame's identity sees two requests and answers both;
it may keep the session of the ghost, or answer on the ghost's channel,
where the node does not listen.

## How to be sure
Group by identical octets. Same gateway, other channel, within some
microseconds, some 30 dB apart: a ghost. The strong copy is often above
-30 dBm, yet one report has it at -63 dBm, so the level alone decides
nothing. Then find the accept under whose session the data authenticates,
and compare it with the session on record: the MIC settles which one the
node took.

It is not DevNonce reuse, not two nodes and not a replay: it is one
transmission. Seconds apart through another gateway is
late-copy-replaced-the-session. If the strong copy was answered, the ghost
did no harm.

## What to do
1. Move the node 5 m and more away, or put a wall between, and join again.
2. Let the server compare octets without frequency, keep the strongest copy,
   and refuse a DevNonce just accepted.
3. For commissioning on a table use a load or an attenuator in place of the
   antenna, if you are equipped for it.

## Example
On the shelf beside the gateway: 868.5 MHz at -12 dBm and 868.3 MHz at
-86 dBm, 8 us apart, equal octets. Two accepts, DevAddr 020C2107 and
020C2108. The data bears 020C2107; the record has 020C2108.

## Source
LoRaWAN 1.0.4, p. 45-46 (one DevNonce, one join); the effect itself is
common practice.
"#;
