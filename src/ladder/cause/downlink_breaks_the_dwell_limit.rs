//! Cause `downlink-breaks-the-dwell-limit`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::ladder::{
    finding::Finding,
    session::{self, Case, Story, aim::Setting, faults::Why, timely::told},
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::DownlinkBreaksTheDwellLimit,
    what: "a downlink is longer, or slower, than DownlinkDwellTime allows",
    places: &[Place::Session(session::Rung::Timely)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

fn check(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let own = |fault: &session::faults::Fault| {
        matches!(fault.setting, Setting::Rx1Rate | Setting::Dwell)
            && matches!(fault.why, Why::Dwell)
    };
    told::finding(
        case,
        story,
        own,
        "while DownlinkDwellTime is 1, use the RX1 table for it (DR2 is the lowest) and frames of 400 ms at most",
    )
}

const PAGE: &str = r"# downlink-breaks-the-dwell-limit
TXParamSetupReq switched DownlinkDwellTime on, and downlinks do not keep to
it.

## What is seen
At the server: downlinks sent. At the gateway: taken and sent. At the node:
RX1 stays empty, since it listens at another data rate.

## Why it happens
With DownlinkDwellTime 1 a downlink may be on the air for 400 ms, and the
table of RX1's data rate has DR2 as its lowest entry. A server that sends
TXParamSetupReq and keeps the other table sends at DR0 or DR1.

## How to be sure
Find TXParamSetupReq with bit 5 set and the node's TXParamSetupAns. From the
next uplink on, RX1's data rate comes from the table for dwell time. A
downlink that the other table would give, or that takes more than 400 ms, is
the proof.

AU915 never limits downlinks. Before the answer the limit is not in force;
in AS923 the start depends on the country.

## What to do
1. Use the RX1 table for DownlinkDwellTime 1 on the server.
2. Or send TXParamSetupReq with bit 5 clear, where the country allows it.

## Example
AS923, RX1DROffset 2, TXParamSetupReq 25 answered. probe-03 sends at
SF10BW125 (DR2). Offset 2 gives DR0 in the usual table and DR2 under the
limit. The server sends SF12BW125, 1.2 s on the air.

## Source
LoRaWAN 1.1, 5.9 (TXParamSetupReq); RP002-1.0.4, AS923, RX1 data rate.
";
