//! Cause `force-rejoin-not-followed`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, fact},
    ladder::{
        finding::Finding,
        session::{self, Case, Story},
    },
    trace::settings::Exchange,
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::ForceRejoinNotFollowed,
    what: "ForceRejoinReq is sent, and no Rejoin-Request follows",
    places: &[Place::Session(session::Rung::Settled)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

/// So many decide.
const DECIDE: usize = 3;

fn check(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let end = case.trace.span.map(|(_, last)| last.as_microsecond())?;
    let requests: Vec<i64> = case
        .node
        .attempts
        .iter()
        .filter_map(|attempt| attempt.heard.at().map(jiff::Timestamp::as_microsecond))
        .collect();
    let mut own: Vec<&Exchange> = Vec::new();
    for exchange in story.settings.exchanges.iter().filter(|e| e.name() == "ForceRejoinReq") {
        let period = exchange.requests.first().and_then(|request| request.number("Period"));
        let asked = story.time_us(exchange.asked);
        let (Some(period), Some(asked)) = (period, asked) else { continue };
        if !story.went_out(exchange.asked) {
            continue;
        }
        // 32 s times 2^Period, and up to 32 s more (LoRaWAN 1.1, 5.13).
        let due = asked + ((32_i64 << period.clamp(0, 7)) + 32) * 1_000_000;
        if requests.iter().any(|at| (asked..=due + 5_000_000).contains(at)) {
            own.clear();
        } else if end >= due {
            own.push(exchange);
        } else {
            // Asked again before it was due: the next one counts.
            own.push(exchange);
        }
    }
    let last = own.last()?;
    let heard_after = story.turns().iter().any(|turn| turn.first() > last.asked);
    if own.len() < DECIDE || !heard_after && own.len() < DECIDE + 1 {
        return None;
    }
    let mut finding = Finding::new(
        Certainty::Likely,
        fact!(
            "ForceRejoinReq goes out {times} times, and the node sends no Rejoin-Request",
            times = own.len()
        ),
        "check the node's support for ForceRejoinReq, and whether the gateway's software forwards \
         Rejoin-Requests",
    );
    for exchange in own.iter().take(4) {
        finding.add(session::words::request(story, exchange));
    }
    Some(finding)
}

const PAGE: &str = r"# force-rejoin-not-followed
The server asks the node to rejoin, and no Rejoin-Request comes.

## What is seen
At the server: ForceRejoinReq sent again and again. At the gateway: the
node's data arrives. At the node: the old session goes on.

## Why it happens
The node's stack does not implement ForceRejoinReq, or rejoins with a
Join-Request only. Some gateway software forwards Join-Requests and data,
and drops Rejoin-Requests: then the node may well obey.

## How to be sure
ForceRejoinReq in three downlinks and more, sent in the windows in force.
The Rejoin-Request is due within 32 s x 2^Period and 32 s more; neither it
nor a Join-Request comes. Likely: the gateway may have dropped it.

ForceRejoinReq has no answer of its own. LoRaWAN 1.0.x does not have the
command: command-unknown-to-the-node.

## What to do
1. Look into the node's log for the rejoin.
2. Check that the gateway forwards message type 6.
3. Use another way to renew the session, such as a reset of the node.

## Example
ForceRejoinReq 23 00: Period 0, type 2, due within 64 s. Sent four times,
75 s apart; probe-27 sends data only.

## Source
LoRaWAN 1.1, 5.13.
";
