//! Cause `gateway-counter-restarted`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        gateway::{Case, Rung, clocks::ClockFault},
    },
    trace::Moment,
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::GatewayCounterRestarted,
    what: "the counter of the gateway's radio began again",
    places: &[Place::Gateway(Rung::Clock)],
    kind: Kind::Exact,
    checks: &[Check::Gateway(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let restarts = case.clock.iter().find_map(|fault| match fault {
        ClockFault::Restarted(restarts) => Some(restarts),
        _ => None,
    })?;
    let first = restarts.first()?;
    let mut finding = Finding::new(
        Certainty::Certain,
        fact!(
            "the counter of {gateway} began again {times}, the first time before {first}",
            gateway = case.title(),
            times = Value::Count(restarts.len() as u64, "time"),
            first = Moment { line: first.after, at: first.at }
        ),
        "check the gateway's power supply and watchdog, and whether its forwarder stops by itself after PULL_DATA \
         without an answer",
    );
    for restart in restarts.iter().take(MOST_TOLD) {
        let Some((before, after, passed)) = restart.counts else { continue };
        finding.add(fact!(
            "{last}: counter {before}; {next}: counter {after}, {time} later",
            last = restart.before,
            before,
            next = Moment { line: restart.after, at: restart.at },
            after,
            time = Value::About(passed)
        ));
    }
    Some(finding)
}

/// Restarts that are named.
const MOST_TOLD: usize = 4;

const PAGE: &str = r"# gateway-counter-restarted
The counter of the gateway's radio began again at zero: the radio, its program
or the complete gateway was started again.

## What is seen
In the receptions: `tmst` falls, though it was far from its end. Often the
gateway sends nothing for some seconds before. A downlink that was ordered
before is never sent.

## Why it happens
Power that fails for a moment, a watchdog, a program that ends itself after a
number of PULL_DATA without an answer, an update.

## How to be sure
`tmst` falls, and is then no higher than the time since the last frame: it
counts from zero. A wrap comes every 71 min 35 s, when the counter is near
2^32. Frames out of order by milliseconds are not this. Two gateways under one
EUI change to and fro: see two-gateways-share-one-eui.

## What to do
1. Find out when it happens, and what else happens then.
2. Check the supply: a voltage that falls when the radio sends.
3. Look at the gateway's uptime and its log: did the system start, or the
   program alone?
4. Nodes recover by themselves at their next attempt.

## Example
12:56:18: counter 2,814,551,223. 12:56:51: counter 4,102,377. The gateway's
injector had a loose plug.

## Source
The gateway packet-forwarder protocol, `tmst`; programs that end themselves:
common practice.
";
