//! Cause `counter-upper-half-lost-at-rollover`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::ladder::session;

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::CounterUpperHalfLostAtRollover,
    what: "one side lost the upper half of the counter",
    places: &[Place::Session(session::Rung::Fresh)],
    kind: Kind::Exact,
    checks: &[Check::Session(session::counters::upper_half_lost)],
    page: PAGE,
};

const PAGE: &str = r#"# counter-upper-half-lost-at-rollover
After 65 535 the frames verify with the full 32-bit counter only, and one
side has lost the upper half.

## What is seen
At the server: wrong MIC or old counter, from one frame to the next, after
months of good work. At the gateway: FCnt 65534, 65535, 0, 1. At the node:
no answers any more.

## Why it happens
The frame carries the low 16 bits of FCnt; the MIC and the encryption use
all 32. At the rollover the receiver must add 65 536 by itself. A server set
to 16-bit counters, or a node that counts in 16 bits, uses the upper half 0
while the other uses 1.

## How to be sure
After the fall of the field from near 65 535 compute the MIC with u = last
and u = last + 1. Holds with u + 1: the node counts 32 bits, and the side
that refuses does not. Holds with u = 0 and last u = 0: the node lost the
upper half, or restarted. To part these two: a rollover passes through
65 535, a restart falls from anywhere.

"Key wrong" is refuted by the frames before. "Replay" is what a 16-bit
server says. A node that rejoins at the rollover has a new DevAddr. If the
MIC holds with u = 0 and frames are missing around the fall, both readings
stand, and the node's log decides.

## What to do
1. Set the server's record to 32-bit counters.
2. If the node counts 16 bits, update it, or let it rejoin before 65 535.
3. Clear the counter once, if the server has locked itself.
4. Find the other nodes of this kind: the date of their rollover can be
   computed.

## Example
DevAddr 020C2107, invented keys. The field reads 2 after 65535, 0, 1:

    40 07210C02 00 0200 02 8FD3B0E8, MIC 351F5BF5

With FCnt 65 538 the MIC is 351F5BF5; with FCnt 2 it would be 45124406. The
node counts right; the record says 16 bits.

## Source
LoRaWAN 1.0.4, p. 22-25; 1.0.3, p. 19 and 21.
"#;
