//! Cause `device-time-without-leap-seconds`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        session::{self, Case, Story, device_time},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::DeviceTimeWithoutLeapSeconds,
    what: "DeviceTimeAns is off by the leap seconds",
    places: &[Place::Session(session::Rung::Answered)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

/// Leap seconds between UTC and GPS time since 2017.
const LEAP_MS: i64 = 18_000;
/// What a good clock may be off by.
const CLOCK_MS: i64 = 1_000;
/// So many answers decide.
const DECIDE: usize = 2;

fn check(_: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let all = device_time::answers(story);
    let off = |answer: &device_time::Answer| {
        [LEAP_MS, -LEAP_MS].iter().any(|leap| (answer.off_ms - leap).abs() <= CLOCK_MS)
    };
    // Each time, and by the same amount: a clock of unknown accuracy is off by anything.
    if all.len() < DECIDE || !all.iter().all(off) {
        return None;
    }
    let mut finding = Finding::new(
        Certainty::Likely,
        fact!(
            "DeviceTimeAns is off by {apart_s} s in {answers}: the leap seconds between UTC and GPS time",
            apart_s = all.last().map_or(0, |answer| answer.off_ms / 1_000),
            answers = Value::Count(all.len() as u64, "answer")
        ),
        "add the 18 leap seconds: GPS time = UTC + 18 s since 2017",
    );
    for answer in all.iter().take(3) {
        finding.add(answer.fact(story));
    }
    Some(finding)
}

const PAGE: &str = r"# device-time-without-leap-seconds
The server answers DeviceTimeReq with a time that is 18 s off.

## What is seen
At the node: its clock is 18 s wrong; class B listens for beacons at the
wrong moment and finds none. At the server: nothing odd.

## Why it happens
GPS time has no leap seconds, UTC has. Since 2017 GPS is 18 s ahead. A
server that subtracts the epoch from Unix time and stops there is 18 s
behind; one that adds them twice is 18 s ahead.

## How to be sure
Seconds of DeviceTimeAns less the GPS time at the end of the uplink that
asked: -18 s or +18 s, each time, to within a second. `tmms` of the uplink
is GPS time by the gateway's own receiver and the best reference.

Without it the capture's clock is the reference, and may itself be off: then
it is likely, not certain.

## What to do
1. Let the server compute GPS = Unix - 315964800 + 18.
2. Check the clock of the machine that captured.

## Example
Uplink with tmms 1456473710168. DeviceTimeAns: 1456473692, fraction 43. The
difference is -18.0 s, in three answers.

## Source
LoRaWAN 1.1, 5.12; 1.0.4, p. 37.
";
