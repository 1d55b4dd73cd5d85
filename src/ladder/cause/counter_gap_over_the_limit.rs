//! Cause `counter-gap-over-the-limit`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, fact},
    frame::MacVersion,
    ladder::{
        finding::Finding,
        session::{self, Case, Story},
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

/// MAX_FCNT_GAP up to LoRaWAN 1.0.3 (RP002-1.0.1, 2.3).
const MAX_FCNT_GAP: u32 = 16_384;
/// The shortest frame at the fastest data rate takes longer on the air than this, microseconds.
const SHORTEST_US: i64 = 20_000;

fn check(_: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    // Later versions have no limit.
    if story.version().is_none_or(|version| version >= MacVersion::V1_0_4) {
        return None;
    }
    upwards(story).or_else(|| downwards(story))
}

/// Whether so many frames can have been sent in the time between.
fn had_time(story: &Story<'_>, from: usize, to: usize, frames: u32) -> bool {
    let time = |place: usize| story.seen(place).and_then(session::reach::time);
    let passed = time(to).zip(time(from)).map(|(to, from)| to - from);
    passed.is_none_or(|us| us > i64::from(frames) * SHORTEST_US)
}

fn upwards(story: &Story<'_>) -> Option<Finding> {
    let (before, after) = story.turns().windows(2).find_map(|pair| match pair {
        [a, b] if b.missed >= MAX_FCNT_GAP && !had_time(story, a.first(), b.first(), b.missed) => {
            Some((a, b))
        }
        _ => None,
    })?;
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
    let mut last: Option<(usize, u32)> = None;
    for (place, seen) in story.session.frames.iter().enumerate() {
        if !story.went_out(place) {
            continue;
        }
        let fcnt = seen.held.fcnt;
        if let Some((before, held)) = last
            && fcnt.saturating_sub(held) > MAX_FCNT_GAP
            && !had_time(story, before, place, fcnt - held)
        {
            return Some(
                Finding::new(
                    Certainty::Likely,
                    fact!(
                        "FCntDown jumps from {before} to {fcnt}, by more than MAX_FCNT_GAP (16384): a \
                         node of this version drops every downlink from there on",
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
            );
        }
        last = Some((place, fcnt));
    }
    None
}

const PAGE: &str = r#"# counter-gap-over-the-limit
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

A long hole in the capture is no jump. LoRaWAN 1.0.4 and 1.1 have no such
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
"#;
