//! Cause `server-uses-settings-the-node-does-not-hold`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::ladder::{
    finding::Finding,
    session::{self, Case, Story, aim::Setting, faults::Why, timely::told},
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::ServerUsesSettingsTheNodeDoesNotHold,
    what: "the server sends by settings that the node refused or never answered",
    places: &[Place::Session(session::Rung::Timely)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

fn check(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let own = |fault: &session::faults::Fault| {
        matches!(
            fault.setting,
            Setting::Delay
                | Setting::Rx1Frequency
                | Setting::Rx1Rate
                | Setting::Rx2Frequency
                | Setting::Rx2Rate
                | Setting::OpenFrequency
                | Setting::OpenRate
                | Setting::PingFrequency
                | Setting::PingRate
        ) && matches!(fault.why, Why::NotHeld(_))
    };
    told::finding(
        case,
        story,
        own,
        "use new settings only after the node's answer has all bits 1; until then the old ones are in force",
    )
}

const PAGE: &str = r"# server-uses-settings-the-node-does-not-hold
The server sends by settings that it asked for and that the node refused, or
never answered.

## What is seen
At the server: downlinks sent. At the gateway: taken and sent. At the node:
windows stay empty from the request on.

## Why it happens
The server applies the new values when it sends RXParamSetupReq,
RXTimingSetupReq, DlChannelReq or PingSlotChannelReq, and does not wait for
the answer. Or it does not look at the status bits. One bit 0 voids the
complete request.

## How to be sure
Find the request. The answer has a bit 0: nothing changed. Or the next
uplink is there, no uplink is missing before it by FCnt, and it carries no
answer: the node did not get the request, or does not obey. Downlinks that
have the value asked for are the proof.

With a hole in the capture the answer may be in it: then nothing is said. If
the node acknowledges such downlinks, it does hold the settings.

## What to do
1. Apply new settings on the server when the answer comes, not before.
2. Read the status bits: 05 07 is taken, 05 05 is not.
3. Repeat a request that was not answered.

## Example
DlChannelReq moves RX1 of channel 3 to 915.0 MHz. probe-09 answers 02: it
cannot use that frequency. RX1 stays on 867.1 MHz, and the server sends on
915.0 MHz.

## Source
LoRaWAN 1.0.4, p. 33; 1.1, 5.4, 5.7, 5.8; 1.0.4, p. 65 (PingSlotChannelReq).
";
