//! Cause `rejoin-counter-went-back`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, fact},
    ladder::{
        finding::Finding,
        session::{self, Case, Story, rejoins},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::RejoinCounterWentBack,
    what: "RJcount is not above the last one",
    places: &[Place::Session(session::Rung::Fresh)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

pub(super) fn check(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let asked = rejoins::of(case, story);
    let mut last: Option<(&rejoins::Asked<'_>, u16)> = None;
    for asked in asked.iter().filter(|asked| asked.kind != 1) {
        let Some(count) = asked.count else { continue };
        if let Some((before, held)) = last
            && count <= held
        {
            return Some(told(before, held, asked, count, "RJcount0"));
        }
        last = Some((asked, count));
    }
    // RJcount1 never starts again under one JoinEUI, whatever the session.
    let all = rejoins::all(case);
    let own = |asked: &rejoins::Asked<'_>| asked.session == Some(story.place);
    let mut last: Option<(&rejoins::Asked<'_>, u16)> = None;
    for asked in all.iter().filter(|asked| asked.kind == 1) {
        let Some(count) = asked.count else { continue };
        if let Some((before, held)) = last
            && count <= held
            && own(asked)
        {
            return Some(told(before, held, asked, count, "RJcount1"));
        }
        last = Some((asked, count));
    }
    None
}

fn told(
    before: &rejoins::Asked<'_>,
    held: u16,
    asked: &rejoins::Asked<'_>,
    count: u16,
    counter: &'static str,
) -> Finding {
    Finding::new(
        Certainty::Certain,
        fact!(
            "{counter} is {rj_count} after {before}: the server drops the Rejoin-Request as a repeat",
            counter,
            rj_count = count,
            before = held
        ),
        "keep RJcount1 in non-volatile memory for ever, and RJcount0 for as long as the session lasts",
    )
    .and(fact!(
        "{request}: Rejoin-Request type {rejoin_type}, {counter} {rj_count}",
        request = before.cite(),
        rejoin_type = before.kind,
        counter,
        rj_count = held
    ))
    .and(fact!(
        "{request}: Rejoin-Request type {rejoin_type}, {counter} {rj_count}; its MIC holds",
        request = asked.cite(),
        rejoin_type = asked.kind,
        counter,
        rj_count = count
    ))
    .matched_by_chance(1.0, 1)
}

const PAGE: &str = r"# rejoin-counter-went-back
The counter of a Rejoin-Request is not above the last one, and the server
drops the request.

## What is seen
At the server: Rejoin-Requests refused as repeats, or no word at all. At the
node: no accept; the old session goes on.

## Why it happens
RJcount0 counts the requests of types 0 and 2 within a session. RJcount1
counts those of type 1 and never begins again under one JoinEUI. A node that
keeps the session in flash and the counters in RAM begins them again after a
reset.

## How to be sure
List the Rejoin-Requests whose MIC holds: RJcount0 of one session, RJcount1
of the node. One that is equal or lower is the proof.

After a new accept RJcount0 rightly begins at 0. The same request through
two gateways is one request.

## What to do
1. Store RJcount0 with the session, RJcount1 for ever.
2. Until then let the node join again: RJcount0 begins at 0 with the server
   as well.

## Example
RJcount0 of one session: 7, 8, then after a reset 0, 1. The server accepts
the first two.

## Source
LoRaWAN 1.1, 6.2.4.
";
