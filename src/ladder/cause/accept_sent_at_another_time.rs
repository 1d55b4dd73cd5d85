//! Cause `accept-sent-at-another-time`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::ladder::join;

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::AcceptSentAtAnotherTime,
    what: "the accept is aimed at neither 5 s nor 6 s",
    places: &[Place::Join(join::Rung::Timely)],
    kind: Kind::Exact,
    checks: &[Check::Join(join::timely::slots::at_another_time)],
    page: PAGE,
};

const PAGE: &str = r#"# accept-sent-at-another-time
The Join-Accept is aimed at neither 5 s nor 6 s after the request.

## What is seen
At the server: accept sent. At the gateway: taken and sent without error. At
the node: both windows empty, next attempt.

## Why it happens
The server added RxDelay to the join delay, counted from the arrival of the
datagram in place of the gateway's counter, used the counter of another
gateway, or sent "now" (imme). A rounding to milliseconds or a clock offset
added by hand does it, too. At the data delays 1 s and 2 s the cause has a
name of its own.

## How to be sure
d = (tmst of txpk - tmst of rxpk) mod 2^32, both of the same gateway and the
same run of its counter. A window opens for a few symbols only; an error of
some microseconds is nothing, one of tens of milliseconds loses the frame at
fast rates. Compare several attempts: a constant d points to a setting; a d
that varies by network delay points to a time taken from arrival; a d near a
multiple of another known delay (10 s = 5 + 5) points to a sum.

If the request was heard by several gateways, subtract the tmst of the one
that sends: counters of different gateways have nothing in common. When one
gateway restarted between the two, no difference has a meaning
(gateway-counter-restarted-between-request-and-accept).

## What to do
1. Let the server compute slot = tmst of this gateway's reception +
   5 000 000 (or 6 000 000), modulo 2^32.
2. Never send a Join-Accept with imme to a Class A node.
3. Remove manual corrections.
4. Check with one node that joins well elsewhere.

## Example
RxDelay on record is 5. The accepts for probe-06 are 10 000 000 us after
their requests, three times out of three: 5 s join delay plus 5 s RxDelay.
The gateway sends them; the node closed its last window four seconds before.

## Source
RP002-1.0.1, 2.3; LoRaWAN 1.1, 3.3 (accuracy of windows); the gateway
packet-forwarder protocol, `tmst`, `imme`.
"#;
