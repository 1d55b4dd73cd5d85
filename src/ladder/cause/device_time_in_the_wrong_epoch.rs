//! Cause `device-time-in-the-wrong-epoch`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        session::{self, Case, Story, device_time},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::DeviceTimeInTheWrongEpoch,
    what: "DeviceTimeAns counts from another epoch than GPS time",
    places: &[Place::Session(session::Rung::Answered)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

fn check(_: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let all = device_time::answers(story);
    let off = |answer: &&device_time::Answer| device_time::is_by_unix_time(answer.off_ms / 1_000);
    // The last one counts: a server that was corrected is right now.
    if !all.last().is_some_and(|last| off(&last)) {
        return None;
    }
    let own: Vec<_> = all.iter().filter(off).collect();
    let mut finding = Finding::new(
        Certainty::Certain,
        fact!(
            "DeviceTimeAns is {apart_s} s above GPS time in {answers}: it counts from 1970, as Unix time \
             does, and not from 6 January 1980",
            apart_s = own.last().map_or(0, |answer| answer.off_ms / 1_000),
            answers = Value::Count(own.len() as u64, "answer")
        ),
        "let the server send seconds since 6 January 1980: Unix time - 315964800 + 18",
    );
    for answer in own.iter().take(3) {
        finding.add(answer.fact(story));
    }
    Some(finding)
}

const PAGE: &str = r"# device-time-in-the-wrong-epoch
The server answers DeviceTimeReq with Unix time, where GPS time belongs.

## What is seen
At the node: its clock is ten years ahead; time stamps and schedules are
wrong, class B finds no beacon. At the server: nothing odd.

## Why it happens
DeviceTimeAns counts seconds since 6 January 1980, without leap seconds.
Unix time counts from 1970 and leaves leap seconds out. The difference is
315964800 s, less 18 s for the leap seconds since 1980.

## How to be sure
Seconds of DeviceTimeAns less the GPS time at the end of the uplink that
asked. 315964782 or 315964800: Unix time. The capture's clock need not be
better than a minute for that.

A difference of 18 s is device-time-without-leap-seconds. A capture clock
that is off by years shows in the time stamps of all frames.

## What to do
1. Let the server compute GPS = Unix - 315964800 + 18 (since 2017).
2. Check it against a published pair: 12 February 2016 14:24:31 UTC is
   1139322288.

## Example
Uplink at 2026-03-02T08:01:32Z: GPS 1456473710. DeviceTimeAns: 1772438492.
The difference is 315964782.

## Source
LoRaWAN 1.1, 5.12; 1.0.4, p. 37.
";
