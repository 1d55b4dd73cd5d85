//! Cause `counter-used-twice`.

use super::{Cause, CauseId, Check, Kind, Place};
use std::collections::HashMap;

use crate::{
    fact::{Certainty, Cite, fact},
    ladder::{
        finding::Finding,
        session::{self, Case, Story, counting},
    },
    trace::DataSeen,
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::CounterUsedTwice,
    what: "two payloads are sent with one frame counter",
    places: &[Place::Session(session::Rung::Fresh)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

/// Pairs of frames that evidence names.
const NAMED: usize = 4;

/// Two uplinks with one counter and different payloads, where the counter goes on.
fn check(_: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let session = story.session;
    if counting::rises(session) || counting::fall(session).is_some() {
        return None;
    }
    let mut first: HashMap<u32, &DataSeen> = HashMap::new();
    let mut twice = Vec::new();
    for seen in counting::ups(session) {
        let before = *first.entry(seen.held.fcnt).or_insert(seen);
        // The same payload is the same frame, sent again for want of an answer.
        if before.data.frame().payload != seen.data.frame().payload {
            twice.push((before, seen));
        }
    }
    let (_, seen) = twice.first()?;
    // That it happened is certain; a restart of which frames are lost looks the same.
    let mut finding = Finding::new(
        Certainty::Likely,
        fact!(
            "2 frames with FCnt {fcnt} and different payloads: the server takes the first alone, and \
             anyone who hears both knows how they differ",
            fcnt = seen.held.fcnt
        ),
        "let the node raise FCnt after each new frame; only the same frame may be sent again with the \
         same counter",
    );
    for (before, after) in twice.iter().take(NAMED) {
        finding.add(fact!(
            "{uplink} and {other}: FCnt {fcnt}, and both MICs hold",
            uplink = Cite::from(*before).with_time(),
            other = Cite::from(*after).with_time(),
            fcnt = after.held.fcnt
        ));
    }
    Some(finding.matched_by_chance(2.0, 2 * twice.len()))
}

const PAGE: &str = r"# counter-used-twice
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
Two frames of one DevAddr with the same FCnt, the MICs of both good under the
session's key for the same 32-bit counter, and different FRMPayload: that it
happened is certain. The false-match probability is 1 in 4 294 967 296 for
each frame. A node that began to count again, and whose frames between were
lost, looks the same: hence likely.

The same frame sent again, for lack of an ACK or as NbTrans asks, has the
same payload. A copy through another gateway has the same bytes. If the
counter falls and goes on from a low value, it is
counter-restarted-in-a-joined-session or abp-counter-restarted. Two nodes
that share one session also use counters twice, each on a row of its own.

## What to do
1. Raise FCnt with every new frame, before it is sent.
2. Send again only the same bytes.
3. Let one task alone own the counter.
4. The two payloads were encrypted with one key stream: their difference is
   open to anyone who heard both. Join again if that matters.

## Example
Probe-06 reports soil moisture and battery in two frames, both FCnt 4, then
5 and 6. The server shows moisture; the battery never arrives.

## Source
LoRaWAN 1.0.3, p. 19 and 21; 1.0.4, p. 22-23; 1.1, 4.3.1.5 and 4.3.3.
";
