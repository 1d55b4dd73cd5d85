//! Cause `downlink-on-the-wrong-rx1-frequency`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::ladder::{
    finding::Finding,
    session::{self, Case, Story, aim::Setting, faults::Why, timely::told},
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::DownlinkOnTheWrongRx1Frequency,
    what: "data downlinks in RX1 go out on another frequency than the uplink asks for",
    places: &[Place::Session(session::Rung::Timely)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

fn check(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let own = |fault: &session::faults::Fault| {
        matches!(fault.setting, Setting::Rx1Frequency) && matches!(fault.why, Why::Plain)
    };
    told::finding(
        case,
        story,
        own,
        "correct the server's channel table: RX1 of an uplink is where the plan puts it for that channel",
    )
}

const PAGE: &str = r"# downlink-on-the-wrong-rx1-frequency
Data downlinks come at RX1's time and on a frequency where the node does not
listen.

## What is seen
At the server: downlinks sent. At the gateway: taken and sent. At the node:
RX1 stays empty; confirmed uplinks are repeated, ADRACKReq stays on.

## Why it happens
In dynamic plans RX1 is on the uplink's own frequency, unless DlChannelReq
moved it. In fixed plans it is on a downlink channel that follows from the
uplink channel: its number modulo 8 (US915, AU915) or modulo 48 (CN470, 96
channels). A server with the table of another region, or that counts
channels from another number, takes another one.

## How to be sure
Delay of the downlink: RxDelay in force, so RX1 is meant. Take the uplink's
frequency, find its channel, apply the plan's rule; compare. Frequencies
less than 1 kHz apart are the same: gateways report synthesiser steps.

A downlink at RX2's delay is another matter. DlChannelReq that the node
answered with 03 moves RX1 of that channel; if the server does not follow,
see server-keeps-the-old-receive-settings. One downlink may be a retry;
three decide.

## What to do
1. Set the node's region and the gateway's channel plan on the server.
2. Compare the server's downlink channels with the plan's table.
3. Until then, let the server use RX2.

## Example
AU915, probe-04 sends on 917.0 MHz, channel 9. RX1 is channel 9 modulo 8 =
1, that is 923.9 MHz. The server answers on 917.0 MHz, as one does in EU868.
Five ACKs, five repeats.

## Source
RP002-1.0.4, the plan's chapter on receive windows; LoRaWAN 1.1, 5.7.
";
