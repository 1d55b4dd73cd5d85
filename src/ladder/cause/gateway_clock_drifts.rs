//! Cause `gateway-clock-drifts`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        gateway::{Case, Rung, clocks::ClockFault},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::GatewayClockDrifts,
    what: "the gateway's clock runs faster or slower than it should",
    places: &[Place::Gateway(Rung::Clock)],
    kind: Kind::Exact,
    checks: &[Check::Gateway(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let apart = case.clock.iter().find_map(|fault| match fault {
        ClockFault::Drifts(apart) => Some(apart),
        _ => None,
    })?;
    let mut finding = Finding::new(
        Certainty::Certain,
        fact!(
            "the clock of {gateway} drifts: its statistics are {first} the capture's clock at first and {last} \
             it at last",
            gateway = case.title(),
            first = Value::Apart(apart.ahead.0),
            last = Value::Apart(apart.ahead.1)
        ),
        "set up the time service on the gateway, so that its clock is corrected all the time",
    );
    apart.tell(&mut finding);
    Some(finding)
}

const PAGE: &str = r"# gateway-clock-drifts
The time in the gateway's statistics moves away from the true one on a
straight line.

## What is seen
In the statistics: a difference that grows from report to report. After days
it is minutes. Certificates and logs are off; Class B fails.

## Why it happens
The board's clock is poor, or its system counts its ticks wrong, and no time
service corrects it.

## How to be sure
The difference grows or falls on a line, by 3 s or more over the capture. The
radio's counter says which clock it is: it is true to 20 millionths. If the
counter agrees with the capture, the gateway's clock drifts; if not, the
capture's does.

Steps instead of a line are a clock that is set now and then.

## What to do
1. Set up the time service.
2. Look at the board's clock source where it drifts by more than a second a
   minute.

## Example
From 3 s to 17 s ahead in twelve minutes, 1.2 s a minute. The board's system
had the wrong frequency for its timer.

## Source
The gateway packet-forwarder protocol, `stat` member `time`; accuracy of radio
crystals: common practice.
";
