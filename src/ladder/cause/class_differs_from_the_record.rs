//! Cause `class-differs-from-the-record`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::ladder::{
    finding::Finding,
    session::{self, Case, Story, aim::Setting, faults::Why, timely::told},
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::ClassDiffersFromTheRecord,
    what: "the server sends as to class C, and the node is of class A",
    places: &[Place::Session(session::Rung::Timely)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

fn check(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let own = |fault: &session::faults::Fault| {
        matches!(fault.setting, Setting::Class) && matches!(fault.why, Why::Plain)
    };
    told::finding(
        case,
        story,
        own,
        "set the same class on both sides; a class A node is reached after its uplinks only",
    )
}

const PAGE: &str = r"# class-differs-from-the-record
The record says class C, the node is of class A: downlinks go out when
nobody listens.

## What is seen
At the server: downlinks sent at any time. At the gateway: taken and sent.
At the node: nothing; answers to its uplinks do arrive.

## Why it happens
The class is set on record by hand. A 1.0.x node does not state its class on
the air; a 1.1 node does, by DeviceModeInd. A firmware without class C, a
node that changes to class C only while it has mains power, or a copied
profile make the two differ.

## How to be sure
Downlinks are sent immediately or at no window's time, on RX2. The firmware's
class is A, or DeviceModeInd says A. Confirmed ones are not acknowledged by
the next uplink. If the node does acknowledge them, it listens, and what is
said of its firmware is wrong.

In class B the ClassB bit of the uplinks is on.

## What to do
1. Set the record to class A, or the firmware to class C.
2. In 1.1 let the server follow DeviceModeInd.

## Example
Record: class C. Four confirmed downlinks on 869.525 MHz, 40 s apart. The
next uplinks of valve-02 have ACK 0: its firmware is class A.

## Source
LoRaWAN 1.0.4, class C, p. 72; 1.1, chapter 18 (DeviceModeInd).
";
