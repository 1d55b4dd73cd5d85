//! Cause `clock-correction-in-the-wrong-epoch`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        session::{self, Case, Story, clock, device_time},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::ClockCorrectionInTheWrongEpoch,
    what: "the clock package corrects the node to another epoch than GPS time",
    places: &[Place::Session(session::Rung::Settled)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

fn check(_: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let all = clock::answers(story);
    let off =
        |answer: &&clock::Answer<'_>| answer.off_s(story).is_some_and(device_time::is_by_unix_time);
    // The last one that the node takes counts.
    if !all.iter().rfind(|answer| answer.request.is_some()).is_some_and(|last| off(&last)) {
        return None;
    }
    let own: Vec<_> = all.iter().filter(off).collect();
    let mut finding = Finding::new(
        Certainty::Certain,
        fact!(
            "{answers} set the node's clock {apart_s} s above GPS time: they count from 1970, as Unix \
             time does, and not from 6 January 1980",
            answers = Value::count(own.len(), "AppTimeAns"),
            apart_s = own.last().and_then(|answer| answer.off_s(story)).unwrap_or_default()
        ),
        "let the server compute TimeCorrection as GPS time less DeviceTime: GPS time is Unix time - \
         315964800 + 18",
    );
    for answer in own.iter().take(4) {
        let device_time = answer.request.map(|request| request.number("DeviceTime"));
        finding.add(fact!(
            "{request}: DeviceTime {device_time}; {answer}: TimeCorrection {time_correction} s",
            request = answer.last.cite(story),
            device_time = device_time.unwrap_or_default(),
            answer = answer.said.cite(story),
            time_correction = answer.said.number("TimeCorrection")
        ));
    }
    Some(finding)
}

const PAGE: &str = r"# clock-correction-in-the-wrong-epoch
The server corrects the node's clock to Unix time, where GPS time belongs.

## What is seen
At the node: its clock is ten years ahead; multicast sessions never open,
schedules are wrong. At the server: nothing odd.

## Why it happens
DeviceTime and the correction are seconds since 6 January 1980. Server
software counts from 1970 unless it is told.

## How to be sure
DeviceTime plus TimeCorrection, less GPS time by the capture's clock, is
315964800 s, or 18 s less: the time between the two epochs. No clock is off
by just that.

The first correction of a node that has no time yet is large and right: the
sum counts, not the correction.

## What to do
1. Compute GPS time as Unix time - 315964800 + 18.
2. Subtract DeviceTime of the request.

## Example
DeviceTime 1456502420, at GPS second 1456502418. TimeCorrection 315964780 s
in place of -2 s.

## Source
TS003-2.0.0, p. 10; GPS time: 18 leap seconds since 2017.
";
