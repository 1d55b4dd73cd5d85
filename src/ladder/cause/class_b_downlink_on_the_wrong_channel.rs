//! Cause `class-b-downlink-on-the-wrong-channel`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::ladder::{
    finding::Finding,
    session::{self, Case, Story, aim::Setting, faults::Why, timely::told},
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::ClassBDownlinkOnTheWrongChannel,
    what: "class B downlinks are on another frequency or data rate than the ping slots",
    places: &[Place::Session(session::Rung::Timely)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

fn check(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let own = |fault: &session::faults::Fault| {
        matches!(fault.setting, Setting::PingFrequency | Setting::PingRate)
            && matches!(fault.why, Why::Plain | Why::KeepsOld(_) | Why::Record)
    };
    told::finding(
        case,
        story,
        own,
        "send on the frequency and data rate of the ping slots in force: the plan's, or those of the PingSlotChannelReq that the node answered with 03",
    )
}

const PAGE: &str = r"# class-b-downlink-on-the-wrong-channel
Downlinks hit the node's ping slots in time, and not in frequency or data
rate.

## What is seen
At the server: downlinks sent. At the gateway: taken and sent. At the node:
ping slots stay empty; class A works.

## Why it happens
Ping slots have a frequency and a data rate of their own, which are not
those of RX2 (EU868: 869.525 MHz at SF9BW125). PingSlotChannelReq changes
them. In US915 and AU915 the frequency hops with the beacon time. A server
that uses RX2's data rate, or does not follow a change that the node took,
misses them.

## How to be sure
The slot fits (class-b-downlink-outside-the-ping-slots). Compare frequency
and data rate with the plan's default, or with the last PingSlotChannelReq
that the node answered with 03; frequency 0 in it means the default. Where
the plan hops: channel = (DevAddr + beacon time / 128) modulo 8.

A request that was refused changes nothing: see
server-uses-settings-the-node-does-not-hold.

## What to do
1. Use the ping slot's own frequency and data rate on the server.
2. Apply PingSlotChannelReq when the node answers 03.

## Example
PingSlotChannelReq: 868.1 MHz, DR5, answered 03. Downlinks go out on 869.525
MHz at SF9BW125, as before.

## Source
LoRaWAN 1.0.4, p. 65; 1.1, 16.2; RP002-1.0.4, class B of the plan.
";
