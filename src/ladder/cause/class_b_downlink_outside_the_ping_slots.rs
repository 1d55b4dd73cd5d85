//! Cause `class-b-downlink-outside-the-ping-slots`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::ladder::{
    finding::Finding,
    session::{self, Case, Story, aim::Setting, faults::Why, timely::told},
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::ClassBDownlinkOutsideThePingSlots,
    what: "class B downlinks are sent when the node has no ping slot",
    places: &[Place::Session(session::Rung::Timely)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

fn check(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let own = |fault: &session::faults::Fault| {
        matches!(fault.setting, Setting::Slot) && matches!(fault.why, Why::Plain)
    };
    told::finding(
        case,
        story,
        own,
        "check the server's periodicity for this node, its GPS time and its count of slots",
    )
}

const PAGE: &str = r"# class-b-downlink-outside-the-ping-slots
Downlinks for class B are sent at times at which the node opens no ping
slot.

## What is seen
At the server: downlinks sent. At the gateway: taken and sent at that GPS
time. At the node: beacons are received, ping slots stay empty; class A
works.

## Why it happens
The slots of a node follow from beacon time, DevAddr and the periodicity of
its PingSlotInfoReq. A server that counts slots from 0 where the first is
1, that has another periodicity, or whose GPS time is off by leap seconds or
by a second, misses all of them.

## How to be sure
Beacon period = GPS time / 128 s. Rand = AES of beacon time and DevAddr
under a key of zeros, pingOffset = first two bytes modulo pingPeriod. Slot n
opens 2.120 s + (pingOffset + n x pingPeriod) x 30 ms after the beacon. Take
`tmms` of the downlink: its distance from the nearest slot, in slots of
30 ms. The same distance each time shows a wrong count; different ones show
another periodicity.

By the gateway's counter only a clock true to 15 ms can say. Before
PingSlotInfoAns the periodicity is not agreed on.

## What to do
1. Compare the server's periodicity with the node's PingSlotInfoReq.
2. Compare the server's GPS time with the gateway's.
3. Recompute one slot by hand, as above.

## Example
PingSlotInfoReq: periodicity 4, a slot every 16 s. The downlink's tmms is
30 ms after the slot, each time: the server counts one slot too many.

## Source
LoRaWAN 1.0.4, class B, p. 61-64; 1.1, 13.2.
";
