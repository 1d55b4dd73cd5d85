//! Cause `record-differs-from-the-settings-in-force`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::ladder::{
    finding::Finding,
    session::{self, Case, Story, aim::Setting, faults::Why, timely::told},
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::RecordDiffersFromTheSettingsInForce,
    what: "downlinks follow the record, and the accept gave the node other values",
    places: &[Place::Session(session::Rung::Timely)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

fn check(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let own = |fault: &session::faults::Fault| {
        matches!(
            fault.setting,
            Setting::Delay | Setting::Rx1Rate | Setting::Rx2Frequency | Setting::Rx2Rate
        ) && matches!(fault.why, Why::Record)
    };
    told::finding(
        case,
        story,
        own,
        "set the record to what the accept gave, or let the node join again so that it gets the record's values",
    )
}

const PAGE: &str = r"# record-differs-from-the-settings-in-force
The server sends by the node's record, and the accept gave the node other
values.

## What is seen
At the server: downlinks sent, as the profile says. At the gateway: taken
and sent. At the node: windows stay empty.

## Why it happens
`rx1-delay`, `rx1-dr-offset`, `rx2-data-rate` or `rx2-frequency` were
changed on record after the join; or the join server fills the accept from
another profile than the network server schedules by. The record is a wish;
what the accept said is in force.

## How to be sure
Open the accept: RxDelay and DLSettings. Compare with the record, and with
the downlinks. If they fit the record, do not fit the accept, and are not the
region's default either, the record is where the value comes from. Settings
that MAC commands changed later count instead of the accept's.

A record that differs from the accept and is not used by any downlink is no
fault.

## What to do
1. Set the record to the values of the accept.
2. Or let the node join again, and check that the accept has the record's
   values.
3. Or send RXTimingSetupReq and RXParamSetupReq and wait for the answers.

## Example
Record: rx1-delay = 5, rx2-data-rate = 3. Accept: RxDelay 1, RX2DataRate 0.
Downlinks go out at 5 s, and at 6 s with SF9BW125. probe-13 listens at 1 s
and at 2 s with SF12BW125.

## Source
LoRaWAN 1.0.4, p. 47 (RxDelay, DLSettings).
";
