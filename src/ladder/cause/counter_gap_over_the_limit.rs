//! Cause `counter-gap-over-the-limit`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, fact},
    ladder::{
        finding::Finding,
        session::{self, Case, Story, leaps},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::CounterGapOverTheLimit,
    what: "a counter jumps by more than the other side accepts",
    places: &[Place::Session(session::Rung::Fresh)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

fn check(_: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    upwards(story).or_else(|| downwards(story))
}

fn upwards(story: &Story<'_>) -> Option<Finding> {
    let (before, after) = leaps::up(story)?;
    Some(
        Finding::new(
            Certainty::Likely,
            fact!(
                "FCnt jumps from {before} to {fcnt}, by more than MAX_FCNT_GAP (16384): a server of \
                 this version drops every uplink from there on",
                before = before.fcnt,
                fcnt = after.fcnt
            ),
            "let the node join again; keep FCnt in non-volatile memory, and restore it exactly",
        )
        .and(fact!(
            "{uplink}: FCnt {fcnt}, and its MIC holds",
            uplink = story.cite(before.first()),
            fcnt = before.fcnt
        ))
        .and(fact!(
            "{uplink}: FCnt {fcnt}, and its MIC holds; the time between is too short for so many frames",
            uplink = story.cite(after.first()),
            fcnt = after.fcnt
        )),
    )
}

fn downwards(story: &Story<'_>) -> Option<Finding> {
    let ((before, held), (place, fcnt)) = leaps::down(story)?;
    Some(
        Finding::new(
            Certainty::Likely,
            fact!(
                "FCntDown jumps from {before} to {fcnt}, by more than MAX_FCNT_GAP (16384): a node of \
                 this version drops every downlink from there on",
                before = held,
                fcnt
            ),
            "restore the server's downlink counter, or let the node join again",
        )
        .and(fact!(
            "{downlink}: FCntDown {fcnt}, and its MIC holds",
            downlink = story.cite(before),
            fcnt = held
        ))
        .and(fact!(
            "{downlink}: FCntDown {fcnt}, and its MIC holds",
            downlink = story.cite(place),
            fcnt
        )),
    )
}

const PAGE: &str = r"# counter-gap-over-the-limit
A frame counter jumps by more than 16384, and the other side drops what
comes after.

## What is seen
At the server: uplinks refused for their counter, or, the other way round,
downlinks sent and never answered. On the air: everything is in order.

## Why it happens
Up to LoRaWAN 1.0.3 a receiver accepts a counter only if it is at most
MAX_FCNT_GAP = 16384 above the last one. A node that restores its counter
from flash in large steps, a server that restores a session from a wrong
backup, or a damaged value, jumps further.

## How to be sure
Two frames whose MICs hold, the counter of the second more than 16384 above
the first, and too little time between them for so many frames. The MIC
proves the counter, with its upper half.

A long hole in the capture is not a jump. LoRaWAN 1.0.4 and 1.1 have no such
limit: there the frames count.

## What to do
1. Let the node join again: both counters begin at 0.
2. Keep counters in non-volatile memory and restore them exactly.
3. Use LoRaWAN 1.0.4.

## Example
LoRaWAN 1.0.3, probe-08: FCnt 1 at 08:01:32, FCnt 20002 at 08:02:47. A gap
of 20001 in 75 s. No downlink answers from there on.

## Source
RP002-1.0.1, 2.3 (MAX_FCNT_GAP); LoRaWAN 1.0.3, p. 17.
";
