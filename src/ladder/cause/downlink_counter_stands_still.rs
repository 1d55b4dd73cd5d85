//! Cause `downlink-counter-stands-still`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, fact},
    ladder::{
        finding::Finding,
        session::{self, Case, Story, counting},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::DownlinkCounterStandsStill,
    what: "different downlinks have one frame counter",
    places: &[Place::Session(session::Rung::Fresh)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

/// So many decide.
const DECIDE: usize = 2;

fn check(_: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let backs = counting::downs_back(story);
    let equal: Vec<_> = backs.iter().filter(|back| back.fcnt == back.before.1).collect();
    let first = equal.first()?;
    let certainty = if equal.len() >= DECIDE { Certainty::Certain } else { Certainty::Likely };
    let mut finding = Finding::new(
        certainty,
        fact!(
            "different downlinks have FCntDown {fcnt}: the node takes the first alone and drops the \
             others as repeats",
            fcnt = first.fcnt
        ),
        "let the server raise FCntDown for each new downlink, also where the one before was not \
         acknowledged",
    );
    for back in equal.iter().take(4) {
        finding.add(fact!(
            "{before} and {downlink}: FCntDown {fcnt}, both MICs hold, and the frames differ",
            before = story.cite(back.before.0),
            downlink = story.cite(back.down),
            fcnt = back.fcnt
        ));
    }
    Some(finding.matched_by_chance(1.0, equal.len()))
}

const PAGE: &str = r"# downlink-counter-stands-still
The server sends different downlinks with the same frame counter.

## What is seen
At the server: downlinks sent. At the gateway: taken and sent. At the node:
the first one arrives; all others are dropped as repeats.

## Why it happens
FCntDown is raised when an acknowledgement comes, and none comes. Or two
processes of a server keep one counter each. Or the counter is written back
from an old copy of the session.

## How to be sure
Take the 32-bit counters of the downlinks that a gateway took; their MICs
hold. Two with one counter whose bytes differ are the proof.

The same bytes again, in RX2 or through a second gateway, are one downlink.
A frame that the gateway refused uses up no counter. In 1.1 there are two
counters: NFCntDown for FPort 0 and for frames without a port, AFCntDown for
the others.

## What to do
1. Raise the counter for each new frame, whether it is acknowledged or not.
2. Keep one counter for a session, in one place.

## Example
Line 31: FCntDown 7, two bytes on FPort 5. Line 49: FCntDown 7, an ACK
without a payload. probe-06 takes the first and repeats its confirmed frame.

## Source
LoRaWAN 1.0.4, p. 19; 1.1, 4.3.1.5.
";
