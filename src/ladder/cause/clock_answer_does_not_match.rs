//! Cause `clock-answer-does-not-match`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        session::{self, Case, Story, clock},
    },
    trace::settings::Turn,
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::ClockAnswerDoesNotMatch,
    what: "the clock package's answers carry another token than the requests",
    places: &[Place::Session(session::Rung::Settled)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

/// So many decide.
const DECIDE: usize = 2;

fn check(_: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let all = clock::answers(story);
    let own: Vec<_> = all.iter().filter(|answer| answer.request.is_none()).collect();
    // The last one counts: a server that was corrected is right now.
    if own.is_empty() || all.last().is_some_and(|last| last.request.is_some()) {
        return None;
    }
    // A request that the capture does not have may be the one that is answered.
    let whole = story.turns().iter().all(Turn::follows);
    let certainty = match (own.len() >= DECIDE, whole) {
        (true, true) => Certainty::Certain,
        (true, false) | (false, true) => Certainty::Likely,
        (false, false) => return None,
    };
    let mut finding = Finding::new(
        certainty,
        fact!(
            "{answers} carry a TokenAns that no request before them has: the node drops them",
            answers = Value::count(own.len(), "AppTimeAns")
        ),
        "let the server copy TokenReq of the request that it answers into TokenAns",
    );
    for answer in own.iter().take(4) {
        finding.add(fact!(
            "{request}: TokenReq {token_req}; {answer}: TokenAns {token_ans}",
            request = answer.last.cite(story),
            token_req = answer.last.number("TokenReq"),
            answer = answer.said.cite(story),
            token_ans = answer.said.number("TokenAns")
        ));
    }
    Some(finding)
}

const PAGE: &str = r"# clock-answer-does-not-match
The server answers the node's question for the time with another token.

## What is seen
At the server: AppTimeReq answered. At the node: its clock is never set; it
asks again and again.

## Why it happens
The token of a request is a number of four bits that counts up; only an
answer with the same number is used, so that a late one does no harm. The
server sends a token of its own, or that of an earlier request.

## How to be sure
TokenAns equals TokenReq of none of the last requests. Two such answers in a
session without a lost uplink are certain.

## What to do
1. Copy bits 3..0 of Param of the request into the answer.
2. Answer the last request only.

## Example
probe-24 asks with the tokens 1, 2, 3; the answers carry 5, 6, 7.

## Source
TS003-2.0.0, p. 10, and device stacks.
";
