//! Cause `gateway-statistics-in-local-time`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        gateway::{Case, Rung, clocks::ClockFault},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::GatewayStatisticsInLocalTime,
    what: "the gateway's statistics are in local time and say that it is UTC",
    places: &[Place::Gateway(Rung::Clock)],
    kind: Kind::Exact,
    checks: &[Check::Gateway(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let apart = case.clock.iter().find_map(|fault| match fault {
        ClockFault::LocalTime(apart) => Some(apart),
        _ => None,
    })?;
    let mut finding = Finding::new(
        Certainty::Likely,
        fact!(
            "the statistics of {gateway} are {ahead} the capture's clock, to the second: a time zone",
            gateway = case.title(),
            ahead = Value::Apart(apart.ahead.0)
        ),
        "use UTC in the statistics: set the gateway's clock to UTC and leave the time zone to who reads it",
    );
    apart.tell(&mut finding);
    Some(finding)
}

const PAGE: &str = r"# gateway-statistics-in-local-time
The time in the gateway's statistics is apart from the true one by whole
hours: local time, marked as GMT.

## What is seen
In the statistics: a time that is one or several hours ahead or behind, to the
second. At the server: the gateway was last seen in the future, or hours ago.

## Why it happens
The gateway's clock was set to local time, or its program prints local time
and writes GMT after it.

## How to be sure
The difference to the capture's clock is the same in every report, a multiple
of 15 minutes between 1 and 14 hours, within 3 s. The capture's clock may be
the one that is wrong: compare with another clock. So it is likely, no more.

## What to do
1. Set the gateway's clock to UTC.
2. Or correct the program: UTC in the protocol, local time on screens.
3. Check the clock of the machine that recorded.

## Example
The statistics are 2 h ahead to the second, marked GMT: summer time.

## Source
The gateway packet-forwarder protocol, `stat` member `time` (GMT).
";
