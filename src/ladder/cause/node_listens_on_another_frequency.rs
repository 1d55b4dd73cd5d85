//! Cause `node-listens-on-another-frequency`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    intake::Speaker,
    ladder::{
        finding::Finding,
        join::{
            self, Case,
            proven::receiving::{climbs_to_acceptable, windows_elsewhere},
        },
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::NodeListensOnAnotherFrequency,
    what: "the node's own log opens its first window off the RX1 frequency",
    places: &[Place::Join(join::Rung::Proven)],
    kind: Kind::Exact,
    checks: &[Check::Join(check)],
    page: PAGE,
};

/// Lines of the console that are told.
const MOST_TOLD: usize = 4;

fn check(case: &Case<'_>) -> Option<Finding> {
    if !climbs_to_acceptable(case) {
        return None;
    }
    let (opened, wanted) = windows_elsewhere(case)?;
    let mut on: Vec<u32> = opened.iter().filter_map(|window| Some(window.hz?.0)).collect();
    on.dedup();
    let mut finding = Finding::new(
        Certainty::Likely,
        fact!(
            "the node's log opens its first window on {frequency}; RX1 of its requests is on \
             {expected}",
            frequency = Value::list(on.into_iter().map(Value::Frequency)),
            expected = Value::list(wanted.into_iter().map(Value::Frequency))
        ),
        "correct the rule by which the node's stack finds the RX1 frequency from the channel of its \
         request, or the region that it is built for",
    );
    for window in opened.iter().take(MOST_TOLD) {
        let said = window.line.clone();
        finding.add(fact!("node's log: {said}", said).said_by(Speaker::Node));
    }
    Some(finding)
}

const PAGE: &str = r#"# node-listens-on-another-frequency
The node's own log shows that its first receive window opens on another
frequency than RX1, on which the accept was sent.

## What is seen
At the node: the window opens in time and ends empty. At the gateway and
server: everything in order. The node asks again.

## Why it happens
The stack finds RX1 by a rule of its own. In dynamic plans RX1 is the
frequency of the request, and some code takes the first channel instead, or
the channel chosen for the next request. In fixed plans it is the channel's
number modulo 8 in the downlink grid, and some code takes the uplink grid,
another modulus, or the number within the sub-band.

## How to be sure
Compare the frequencies that the log names for first windows with RX1 of
each request, computed from frequency and plan. If no window is on any of
them, and the accepts were sent in RX1, the cause is likely: a log tells
what it was written to tell, not what the radio was set to. The requests
must be those that the log speaks of.

It is not node-opens-its-window-late: the time is right. A node that opens
RX1 and RX2 on right frequencies and hears nothing is
good-accepts-not-taken-by-the-node. A frequency that is off by less than
1 kHz is rounding.

## What to do
1. Compute RX1 by hand for two requests on different channels
   (`handfast plan` prints it) and compare with the log.
2. Correct the rule, or the region that the stack is built for.
3. Until then an accept in RX2 can reach the node: its frequency is fixed.

## Example
EU868. Probe-08 asks on 868.3 MHz; its log says "RX1 868.1". The accept is
on the air on 868.3 MHz from 5.000 s on, and the window on 868.1 MHz stays
empty. With the request's own frequency it joins immediately.

## Source
RP002-1.0.1, 2.4 and 2.5 (RX1 frequency); 2.3 (delays).
"#;
