//! Cause `accept-too-long-for-the-dwell-limit`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        join::{
            self, Case,
            missed::{self, MOST_TOLD},
            timely::Miss,
        },
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::AcceptTooLongForTheDwellLimit,
    what: "the accept's time on air exceeds the dwell limit in force",
    places: &[Place::Join(join::Rung::Timely)],
    kind: Kind::Exact,
    checks: &[Check::Join(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let wrong = missed::all(case, |m| match m {
        Miss::Dwell { ms, limit_ms } => Some((*ms, *limit_ms)),
        _ => None,
    });
    let &(_, first, (time_on_air_ms, limit_ms)) = wrong.first()?;
    let mut finding = Finding::new(
        Certainty::Certain,
        fact!(
            "the accept of {length} is on air for {time_on_air_ms} ms, the limit in force is \
             {limit_ms} ms",
            length = Value::count(first.sending.octets.len(), "byte"),
            time_on_air_ms,
            limit_ms
        ),
        "send no CFList in the accept at this data rate (17 bytes fit where 33 do not), and \
         NewChannelReq after the join; local rules decide whether the limit holds",
    );
    for (_, answer, (time_on_air_ms, _)) in wrong.iter().take(MOST_TOLD) {
        let Some(data_rate) = answer.sending.modulation else { continue };
        finding.add(fact!(
            "{accept}: {data_rate}, {time_on_air_ms} ms",
            accept = &answer.sending,
            data_rate,
            time_on_air_ms = *time_on_air_ms
        ));
    }
    Some(finding)
}

const PAGE: &str = r"# accept-too-long-for-the-dwell-limit
The time on air of the accept exceeds the dwell limit in force.

## What is seen
At the server: accept sent, or held back. At the gateway: taken, or refused
by its own limit. At the node: no answer at slow data rates; joins succeed
at faster ones.

## Why it happens
Where a 400 ms limit holds for downlinks (AS923 in some countries), a
Join-Accept with CFList does not fit at DR2. CFList adds 16 bytes: 33 in
place of 17.

## How to be sure
Time on air without payload CRC, 125 kHz, CR 4/5:

    SF10: 17 bytes 329.7 ms, 33 bytes 452.6 ms
    SF9:  17 bytes 164.9 ms, 33 bytes 246.8 ms

Over 400 ms with the limit in force is certain to be not allowed; whether
gateway or node then drops it depends on them. The node cannot know of
DownlinkDwellTime before it has joined (default 0), so it may well take such
an accept; what fails is often the sender. EU868, US915 and others have no
downlink dwell limit: there this cause does not exist. In US915 the limit of
400 ms is for uplinks. Exclude key, time and frequency first; a node that is
deaf at SF9 as well has another fault.

## What to do
1. Send accepts at DR2 without CFList; give the channels later by
   NewChannelReq.
2. Or let nodes join at DR3 or faster, if the range permits.
3. Send TXParamSetupReq in a frame that fits the limit itself.
4. Whether the limit holds is a matter of local rules, not of the network's
   taste.

## Example
AS923 group 1. Probe-16 asks at SF10. Its accept is 33 bytes: 452.6 ms. The
gateway is set to a 400 ms limit and drops it. Without CFList 17 bytes take
329.7 ms, and the probe joins immediately.

## Source
RP002-1.0.1, 2.3 and 2.10 (dwell, CFList); time on air: formula of LoRa
transceiver data sheets, computed.
";
