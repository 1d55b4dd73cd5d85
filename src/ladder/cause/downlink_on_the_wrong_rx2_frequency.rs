//! Cause `downlink-on-the-wrong-rx2-frequency`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::ladder::{
    finding::Finding,
    session::{self, Case, Story, aim::Setting, faults::Why, timely::told},
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::DownlinkOnTheWrongRx2Frequency,
    what: "data downlinks in RX2 go out on another frequency than RX2's",
    places: &[Place::Session(session::Rung::Timely)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

fn check(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let own = |fault: &session::faults::Fault| {
        matches!(fault.setting, Setting::Rx2Frequency) && matches!(fault.why, Why::Plain)
    };
    told::finding(
        case,
        story,
        own,
        "send on the RX2 frequency in force: the plan's, or the one of the last RXParamSetupReq that the node answered with 07",
    )
}

const PAGE: &str = r"# downlink-on-the-wrong-rx2-frequency
Data downlinks come at RX2's time and on a frequency where the node does not
listen.

## What is seen
At the server: downlinks sent. At the gateway: taken and sent. At the node:
RX2 stays empty; RX1 may work.

## Why it happens
RX2 is on the plan's frequency until RXParamSetupReq changes it; the accept
cannot change it. A typing error in the server's profile, another region or
another AS923 group puts it elsewhere.

## How to be sure
Delay of the downlink: RxDelay in force and one second more, so RX2 is
meant. Compare its frequency with the plan's default, or with the last
RXParamSetupReq that the node answered with 07. In CN470 with antenna plans
the join channel picks RX2.

If the value is one that the node was asked for and refused, see
server-uses-settings-the-node-does-not-hold. If it is the older value of a
request that the node took, see server-keeps-the-old-receive-settings. One
downlink may be a retry; three decide.

## What to do
1. Correct the RX2 frequency on the server.
2. Where another one is needed, send RXParamSetupReq and wait for 07.

## Example
EU868. Downlinks 2 s after each uplink, at SF12BW125 on 868.525 MHz. RX2 is
on 869.525 MHz: one digit of the server's profile is wrong.

## Source
RP002-1.0.4, the plan's default of RX2; LoRaWAN 1.0.4, p. 33
(RXParamSetupReq).
";
