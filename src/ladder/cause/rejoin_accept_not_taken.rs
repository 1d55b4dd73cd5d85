//! Cause `rejoin-accept-not-taken`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Cite, Value, fact},
    ladder::{
        finding::Finding,
        session::{self, Case, Story, rejoins},
    },
    trace::Answer,
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::RejoinAcceptNotTaken,
    what: "good accepts answer Rejoin-Requests, and the node keeps the old session",
    places: &[Place::Session(session::Rung::Received)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

/// So many decide; one accept may be lost.
const DECIDE: usize = 2;
/// Windows of an accept, microseconds after the request.
const WINDOWS_US: [i64; 2] = [5_000_000, 6_000_000];

fn check(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let asked = rejoins::of(case, story);
    let in_window = |answer: &&Answer| {
        let us = answer.delay.slot_us();
        let near = |us: i64| WINDOWS_US.iter().any(|window| (us - window).abs() <= 2_000);
        us.is_some_and(near) && answer.sending.refusal().is_none()
    };
    let mut own = Vec::new();
    for asked in &asked {
        let answers = rejoins::answers(case, asked);
        let Some(answer) = answers.iter().copied().find(|answer| in_window(answer)) else {
            continue;
        };
        let line = answer.sending.line;
        let after = story.session.uplinks().find(|(seen, _)| seen.data.line() > line);
        match after {
            Some((seen, _)) if !rejoins::is_used(case, asked) => own.push((asked, answer, seen)),
            _ => own.clear(),
        }
    }
    let first = own.first()?;
    if own.len() < DECIDE {
        return None;
    }
    let _ = first;
    let mut finding = Finding::new(
        Certainty::Likely,
        fact!(
            "{accepts} in answer to Rejoin-Requests are good and in their window, and the node goes on \
             with DevAddr {dev_addr}",
            accepts = Value::Count(own.len() as u64, "Join-Accept"),
            dev_addr = story.session.dev_addr
        ),
        "check the node's code for Rejoin-Requests: windows of 5 s and 6 s, JSEncKey to open the accept, \
         JSIntKey for its MIC",
    );
    for (asked, answer, seen) in own.iter().take(3) {
        finding.add(fact!(
            "{accept}: opens under JSEncKey in answer to {request}, and its MIC holds; {uplink}: the \
             node sends under the old keys",
            accept = Cite::from(&answer.sending).with_time(),
            request = asked.cite(),
            uplink = Cite::from(*seen).with_time()
        ));
    }
    Some(finding.matched_by_chance(1.0, own.len()))
}

const PAGE: &str = r"# rejoin-accept-not-taken
The server answers Rejoin-Requests rightly, and the node keeps its old
session.

## What is seen
At the server: new sessions, one after the other, none ever used. At the
gateway: accepts taken and sent. At the node: Rejoin-Requests go on, data
goes on under the old keys.

## Why it happens
The accept for a Rejoin-Request is encrypted with JSEncKey, not with NwkKey,
and its MIC has the type and RJcount in it. A node that opens it like an
accept for a Join-Request drops it. Or it listens at RxDelay, not at 5 s and
6 s.

## How to be sure
The accept opens under JSEncKey and its MIC holds with this request's type
and RJcount; it is in RX1 or RX2; the gateway took it. The next uplink is
under the old DevAddr. Two or three times: likely.

One lost accept is nothing. An accept that opens under NwkKey is the
server's fault: rejoin-accept-made-by-another-rule.

## What to do
1. Compare the node's keys for the accept with LoRaWAN 1.1, 6.2.4.
2. Check its windows after a Rejoin-Request.

## Example
Three Rejoin-Requests type 0, RJcount0 0, 1, 2, each answered after 5 s.
probe-22 sends FCnt 1, 2, 3 under the old DevAddr in between.

## Source
LoRaWAN 1.1, 6.2.3, 6.2.4.
";
