//! Cause `accept-sent-at-the-data-delay`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::ladder::join;

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::AcceptSentAtTheDataDelay,
    what: "the accept is aimed at the data windows, 1 s or 2 s",
    places: &[Place::Join(join::Rung::Timely)],
    kind: Kind::Exact,
    checks: &[Check::Join(join::timely::slots::at_the_data_delay)],
    page: PAGE,
};

const PAGE: &str = r#"# accept-sent-at-the-data-delay
The Join-Accept is scheduled 1 s or 2 s after the request, at the delays
that belong to data.

## What is seen
At the server: accept sent. At the gateway: taken and sent, or refused with
TOO_EARLY, because 1 s was over before the datagram came. At the node:
windows at 5 s and 6 s stay empty; it asks again.

## Why it happens
A join has its own delays: JOIN_ACCEPT_DELAY1 = 5 s, JOIN_ACCEPT_DELAY2 =
6 s in every region. RECEIVE_DELAY1 (1 s, or the RxDelay of the session) is
for data. The server used one path for both. Others take a delay of 0 to
mean 1 s.

## How to be sure
(tmst of txpk - tmst of rxpk) mod 2^32. 5 000 000 or 6 000 000 is right;
1 000 000 or 2 000 000, give or take some microseconds, is this cause. Make
sure that the txpk answers this request: open it with the node's key, or
exclude other nodes near that time. The value is computed from the server's
own numbers, so two equal cases make it certain.

Do not take TOO_EARLY at its word: it is what the common forwarder says for
a slot already past (downlink-reached-the-gateway-too-late). Do not blame
the backhaul: with the right slot there would have been 4 s more. RxDelay
inside the accept says nothing about the accept's own time.

## What to do
1. On the server use 5 s and 6 s for every Join-Accept, whatever RxDelay is
   set.
2. Keep RxDelay for the data that follows.
3. Do not change the node's windows to fit: it would be lost on every other
   network.

## Example
Request of probe-05: tmst 369 601 898. Accept: tmst 370 601 898. Difference
1 000 000 us. The datagram came 1.31 s after the request, 0.31 s behind its
slot; the gateway said TOO_EARLY. The right slot 374 601 898 was still
3.69 s away.

## Source
RP002-1.0.1, 2.3; RP002-1.0.4, p. 27 (delays).
"#;
