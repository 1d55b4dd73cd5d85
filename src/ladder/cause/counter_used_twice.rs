//! Cause `counter-used-twice`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::ladder::session;

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::CounterUsedTwice,
    what: "two different frames of a session have one counter",
    places: &[Place::Session(session::Rung::Fresh)],
    kind: Kind::Exact,
    checks: &[Check::Session(session::counters::used_twice)],
    page: PAGE,
};

const PAGE: &str = r#"# counter-used-twice
Two different frames of one session carry the same FCnt, and the counter
goes on from there.

## What is seen
At the node: both were sent. At the gateway: both were received, and both
MICs hold. At the server: the second is refused as a repeat, and its reading
is missing.

## Why it happens
The node's stack raises FCnt when an answer comes, or when a timer ends, and
not with each new frame. Or two tasks of the firmware send at the same time
from one copy of the counter. Or a frame that is to be sent again gets new
content.

## How to be sure
Two frames of one DevAddr with the same FCnt, the MICs of both good under
the session's key for the same 32-bit counter, and different FRMPayload:
that it happened is certain. Odds of accident are 1 in 4 294 967 296 for
each frame. A node that began to count anew, and whose frames between were
lost, looks the same: hence likely.

The same frame sent again, for want of an ACK or as NbTrans asks, has the
same payload. A copy through another gateway has the same octets. If the
counter falls and goes on from a low value, it is
counter-restarted-in-a-joined-session or abp-counter-restarted. Two nodes
that share one session also use counters twice, each on a row of its own.

## What to do
1. Raise FCnt with every new frame, before it is sent.
2. Send again only the same octets.
3. Let one task alone own the counter.
4. The two payloads were encrypted with one key stream: their difference is
   open to whoever heard both. Join anew if that matters.

## Example
Probe-06 reports soil moisture and battery in two frames, both FCnt 4, then
5 and 6. The server shows moisture; the battery never arrives.

## Source
LoRaWAN 1.0.3, p. 19 and 21; 1.0.4, p. 22-23; 1.1, 4.3.1.5 and 4.3.3.
"#;
