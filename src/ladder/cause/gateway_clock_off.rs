//! Cause `gateway-clock-off`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        gateway::{Case, Rung, clocks::ClockFault},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::GatewayClockOff,
    what: "the time in the gateway's statistics is wrong",
    places: &[Place::Gateway(Rung::Clock)],
    kind: Kind::Exact,
    checks: &[Check::Gateway(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let apart = case.clock.iter().find_map(|fault| match fault {
        ClockFault::Off(apart) => Some(apart),
        _ => None,
    })?;
    let mut finding = Finding::new(
        Certainty::Likely,
        fact!(
            "the statistics of {gateway} are {ahead} the capture's clock",
            gateway = case.title(),
            ahead = Value::Apart(apart.ahead.1)
        ),
        "set up the time service on the gateway; check the clock of the machine that recorded as well",
    );
    apart.tell(&mut finding);
    Some(finding)
}

const PAGE: &str = r"# gateway-clock-off
The time in the gateway's statistics differs from the capture's, and neither a
time zone nor a drift explains it.

## What is seen
In the statistics: a difference of seconds to hours, the same in every report
or in steps.

## Why it happens
The clock was set by hand, or once long ago. Or the machine that recorded has
the wrong time.

## How to be sure
More than 3 s, since statistics have whole seconds and come with some delay.
One capture has two clocks, and one of them is wrong. A third clock decides.
GPS time is 18 s ahead of UTC since 2017: a program that mixes the two is off
by that.

## What to do
1. Compare both clocks with a third one.
2. Set up the time service where it is missing.

## Example
The statistics are 4 min 12 s behind in every report. The gateway's clock had
been set by hand when it was mounted.

## Source
The gateway packet-forwarder protocol, `stat` member `time`.
";
