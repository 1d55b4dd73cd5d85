//! Cause `node-opens-its-window-late`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    intake::Speaker,
    ladder::{
        finding::Finding,
        join::{
            self, Case,
            proven::receiving::{OFF_US, climbs_to_acceptable, late_windows},
        },
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::NodeOpensItsWindowLate,
    what: "the node's own log shows its windows off",
    places: &[Place::Join(join::Rung::Proven)],
    kind: Kind::Exact,
    checks: &[Check::Join(check), Check::Join(join::told::console::late)],
    page: PAGE,
};

/// Lines of the console that are told.
const MOST_TOLD: usize = 4;

fn check(case: &Case<'_>) -> Option<Finding> {
    if !climbs_to_acceptable(case) {
        return None;
    }
    let (windows, air) = late_windows(case)?;
    let first = windows.first()?;
    let error = first.after_us - 5_000_000;
    let same = windows.iter().all(|w| (w.after_us - first.after_us).abs() < 5_000);
    // At 6 s it may be the second one, which the console calls by no name.
    let second = windows.iter().all(|w| (w.after_us - 6_000_000).abs() <= OFF_US && w.hz.is_none());
    #[expect(clippy::cast_possible_truncation, reason = "an accept is on air for a few seconds")]
    let air = (air * 1e6) as i64;
    let mut finding = Finding::new(
        if error < 0 || second { Certainty::Likely } else { Certainty::Certain },
        fact!(
            "the node's log opens its first window {window} after the end of transmission, {error} \
             too {side}; the accept was on air from 5.000 s for {time_on_air}",
            window = Value::Micros(first.after_us),
            error = Value::Micros(error.abs()),
            side = if error > 0 { "late" } else { "early" },
            time_on_air = Value::About(air)
        ),
        "count the 5 s in the node from the end of transmission (the radio's interrupt), by a clock \
         whose error is known",
    );
    for window in windows.iter().take(MOST_TOLD) {
        finding.add(
            fact!(
                "node's log: {window} after tx done: {said}",
                window = Value::Micros(window.after_us),
                said = window.line.clone()
            )
            .said_by(Speaker::Node),
        );
    }
    if same && windows.len() > 1 {
        finding.add("the same error each time: a constant in the code, not a drifting clock");
    }
    Some(finding)
}

const PAGE: &str = r"# node-opens-its-window-late
The node's own log shows that its receive windows do not open when the
accept is on the air.

## What is seen
At the node: log lines put the first window some time away from 5 s after
the end of transmission. At the gateway and server: everything in order. The
node asks again.

## Why it happens
The delay is counted from the wrong moment (from a later interrupt, or after
the log was written), the air time is added once too often, a whole second
is counted twice, or the clock is an RC oscillator with an error of per
cents. A long print in the transmit-done handler is enough.

## How to be sure
From the log: (window open) - (end of transmission), to be compared with
5.000 s less the short lead that the stack takes. The accept is on the air
from 5.000 s; a receiver needs some symbols of the preamble (12.25 symbols
in all). If the window opens after the preamble, the frame is lost with
certainty.

The size names the mistake: equal to the request's air time, equal to a
whole second, or in proportion to the delay (1 % is 50 ms at 5 s and 60 ms
at 6 s). The log's clock is the node's clock: a wrong oscillator shows right
numbers; compare with a second clock. Without a log say only
good-accepts-not-taken-by-the-node. The gateway's slot must have been exact.

## What to do
1. Start the count at the end-of-transmission interrupt.
2. Take the air time out of the sum; check what the timer's unit is.
3. Correct the oscillator, or allow for its real error and no more: a wide
   first window can overlap the second.
4. Measure again with the pin of the radio, not with prints.

## Example
Probe-10, SF9: end of transmission 12.400 s, window open 17.606 s: 5.206 s.
The request's air time is 205.8 ms: the stack added it. The accept's
preamble, 12.25 x 4.096 ms = 50.2 ms, was over at 5.050 s.

## Source
RP002-1.0.1, 2.3; LoRaWAN 1.1, 3.3 (windows within 20 us); air time: formula
of transceiver data sheets, computed.
";
