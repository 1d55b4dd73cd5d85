//! Cause `rejoin-never-answered`.

use super::{Cause, CauseId, Check, Kind, Place, rejoin_counter_went_back};
use crate::{
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        session::{self, Case, Story, reach, rejoins},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::RejoinNeverAnswered,
    what: "Rejoin-Requests are good, and nothing answers them",
    places: &[Place::Session(session::Rung::Answered)],
    kind: Kind::Silence,
    checks: &[Check::Session(check)],
    page: PAGE,
};

/// So many requests decide; the first may be lost.
const DECIDE: usize = 3;
/// An accept is due in RX2 of the request.
const DUE_US: i64 = 10_000_000;

fn check(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    if !reach::both_ways(case, story) || !reach::is_open(case, story) {
        return None;
    }
    // What the server takes for a repeat it drops.
    if rejoin_counter_went_back::check(case, story).is_some() {
        return None;
    }
    let end = case.trace.span.map(|(_, last)| last.as_microsecond());
    let due = |asked: &&rejoins::Asked<'_>| {
        let at = asked.attempt.heard.at().map(jiff::Timestamp::as_microsecond);
        end.zip(at).is_some_and(|(end, at)| end - at >= DUE_US)
    };
    let all = rejoins::of(case, story);
    let open: Vec<_> =
        all.iter().filter(due).rev().take_while(|asked| asked.attempt.answers.is_empty()).collect();
    // A request of type 1 asks a server that may have nothing to change while the session works.
    let works = story.turns().iter().any(|turn| !turn.downs.is_empty());
    let counted = open.iter().filter(|asked| asked.kind != 1 || !works).count();
    let first = open.last()?;
    if counted < DECIDE {
        return None;
    }
    let mut finding = Finding::new(
        Certainty::Likely,
        fact!(
            "{requests} with a good MIC, and neither an accept nor another downlink in answer",
            requests = Value::Count(counted as u64, "Rejoin-Request")
        ),
        "check the server's support for Rejoin-Requests, and whether the gateway's software forwards them",
    );
    let _ = first;
    for asked in open.iter().rev().take(4) {
        finding.add(fact!(
            "{request}: Rejoin-Request type {rejoin_type}, RJcount {rj_count}; no answer",
            request = asked.cite(),
            rejoin_type = asked.kind,
            rj_count = asked.count.unwrap_or_default()
        ));
    }
    Some(finding)
}

const PAGE: &str = r#"# rejoin-never-answered
The node sends Rejoin-Requests that are good, and nothing answers them.

## What is seen
At the node: the old session goes on; with type 1 it may be lost in a
network that does not know it. At the server: no word, or "unknown message
type".

## Why it happens
Rejoin-Requests came with 1.1. A server without them drops the message. Some
gateway software forwards Join-Requests and data only. In roaming, type 1
goes to the join server, which must know the way back.

## How to be sure
MIC under SNwkSIntKey (types 0 and 2) or JSIntKey (type 1), RJcount above
the last one, both directions in the capture. Three requests without an
accept and without another downlink in RX1 or RX2: likely.

RJcount that goes back is rejoin-counter-went-back. Type 1 while the session
works asks for nothing that is owed. The first of several may be lost.

## What to do
1. Check the server's 1.1 support, and the node's version on record.
2. Look whether the frames arrive at the server at all.
3. Until then lower the rate of Rejoin-Requests (RejoinParamSetupReq).

## Example
probe-19: Rejoin-Request type 0, RJcount0 0 to 4, one in two minutes. PULL_ACK
flows, no PULL_RESP.

## Source
LoRaWAN 1.1, 6.2.4.
"#;
