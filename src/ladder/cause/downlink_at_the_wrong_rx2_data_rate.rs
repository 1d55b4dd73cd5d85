//! Cause `downlink-at-the-wrong-rx2-data-rate`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::ladder::{
    finding::Finding,
    session::{self, Case, Story, aim::Setting, faults::Why, timely::told},
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::DownlinkAtTheWrongRx2DataRate,
    what: "data downlinks in RX2 have another data rate than RX2's",
    places: &[Place::Session(session::Rung::Timely)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

fn check(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let own = |fault: &session::faults::Fault| {
        matches!(fault.setting, Setting::Rx2Rate) && matches!(fault.why, Why::Plain)
    };
    told::finding(
        case,
        story,
        own,
        "send at the RX2 data rate in force: the accept's RX2DataRate, or that of the last RXParamSetupReq that the node answered with 07",
    )
}

const PAGE: &str = r"# downlink-at-the-wrong-rx2-data-rate
Data downlinks come in RX2 at a data rate that the node does not listen for.

## What is seen
At the server: downlinks sent. At the gateway: taken and sent. At the node:
RX2 stays empty; RX1 may work.

## Why it happens
The accept gives RX2DataRate in DLSettings, RXParamSetupReq changes it. A
server that keeps the region's default although it gave another rate, or
that uses a rate which it never gave, misses the window. IN865 and AS923
have SF10BW125 as their default, not SF12BW125.

## How to be sure
Delay of the downlink: RxDelay in force and one second more, so RX2 is
meant. Compare its data rate with the accept's RX2DataRate, or with the last
RXParamSetupReq that the node answered with 07.

If the rate is one that the node was asked for and refused, see
server-uses-settings-the-node-does-not-hold; if it is the older one, see
server-keeps-the-old-receive-settings. If it is the record's, see
record-differs-from-the-settings-in-force.

## What to do
1. Let the scheduler use the RX2DataRate stored with the session.
2. Where another one is needed, send RXParamSetupReq and wait for 07.

## Example
US915, accept with RX2DataRate 8: SF12BW500 on 923.3 MHz. The downlinks go
out after 2 s on 923.3 MHz at SF12BW125, a rate that US915 does not have for
downlinks.

## Source
LoRaWAN 1.0.4, p. 47 (DLSettings), p. 33 (RXParamSetupReq); RP002-1.0.4.
";
