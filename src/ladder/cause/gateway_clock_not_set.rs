//! Cause `gateway-clock-not-set`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, fact},
    ladder::{
        finding::Finding,
        gateway::{Case, Rung, clocks::ClockFault},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::GatewayClockNotSet,
    what: "the gateway's clock was never set",
    places: &[Place::Gateway(Rung::Clock)],
    kind: Kind::Exact,
    checks: &[Check::Gateway(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let apart = case.clock.iter().find_map(|fault| match fault {
        ClockFault::NotSet(apart) => Some(apart),
        _ => None,
    })?;
    let mut finding = Finding::new(
        Certainty::Certain,
        fact!(
            "the clock of {gateway} was never set: its statistics count up from {told}",
            gateway = case.title(),
            told = apart.told
        ),
        "set up the time service on the gateway (NTP, or the time of its satellite receiver)",
    );
    apart.tell(&mut finding);
    Some(finding)
}

const PAGE: &str = r#"# gateway-clock-not-set
The time in the gateway's statistics is years away, and runs on from there.

## What is seen
In the statistics: 1970-01-01 or 2000-01-01, and some minutes. At the gateway:
log lines of the same year; certificates that are "not yet valid". Joins and
data may work all the same.

## Why it happens
The board has no clock that runs without power, and no time service sets the
time after a start: no route to one, a firewall that blocks it, none set up.
The time is that since power-up.

## How to be sure
The statistics' time is more than a day in the past, and passes at the right
pace. Class A needs the counter of the radio alone: do not blame a failed join
on this. Class B, timed downlinks, certificates and logs need the clock.

## What to do
1. Set up the time service, and let the firewall pass it (UDP 123).
2. Or take the time from the satellite receiver.
3. Give the board a clock with a battery where there is no network at the
   start.

## Example
The gateway says 1970-01-01 00:14:30 at noon in May. Its network blocked the
time service. A node joins through it without a problem.

## Source
The gateway packet-forwarder protocol, `stat` member `time`.
"#;
