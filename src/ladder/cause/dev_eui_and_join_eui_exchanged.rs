//! Cause `dev-eui-and-join-eui-exchanged`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    explore::near_miss::EuiName,
    ladder::{
        finding::Finding,
        join::{
            self, Case,
            identified::{Pair, are_swapped},
        },
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::DevEuiAndJoinEuiExchanged,
    what: "DevEUI and JoinEUI are swapped",
    places: &[Place::Join(join::Rung::Identified)],
    kind: Kind::Exact,
    checks: &[Check::Join(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    if !are_swapped(case) {
        return None;
    }
    let pair = Pair::of(case, EuiName::DevEui)?;
    Some(pair.finding(
        "DevEUI",
        "the JoinEUI, and the other way round",
        "swap DevEUI and JoinEUI in the node's configuration (or on record)",
    ))
}

const PAGE: &str = r"# dev-eui-and-join-eui-exchanged
The node sends its DevEUI instead of the JoinEUI and the other way
round.

## What is seen
At the gateway: well-formed Join-Requests. At the server: an unknown device.
Several nodes of one batch seem to send the same DevEUI, because the JoinEUI
is common to them: a striking sign.

## Why it happens
The two values look alike: 16 hex digits each, often from one address block.
They were typed into each other's field, in the firmware or on the server,
or a configuration call was given its arguments in the wrong order. The
order on the air is JoinEUI first, then DevEUI.

## How to be sure
Read the two fields and compare each with the other field of the record. If
both fit crosswise, the swap is nearly certain: two values of 64 bits
agree. The MIC under the record's key, over the bytes as sent, makes it
certain; it holds if the key is right, with false-match probability of
1 in 4 294 967 296 a frame.

If only one of the two fits crosswise, it is not a swap: look for a
slip or a copy of one value in both fields. Look also for reversed bytes:
exchange and reversal come together. Do not conclude that two nodes share
one identity from the repeated value: the MICs of different nodes hold under
different keys.

## What to do
1. Swap the two values on the side that disagrees with the label. A QR
   code names both in a fixed order: JoinEUI, then DevEUI.
2. If the server is the wrong side, delete the record with the swapped
   identity and make a new one.
3. Check the byte order at the same time.

## Example
Record: JoinEUI 02-00-00-FF-FE-0C-00-01, DevEUI 02-00-00-FF-FE-0C-21-07. The
probe sends

    00 07210CFEFF000002 01000CFEFF000002 0500 07E5D520

JoinEUI 02-00-00-FF-FE-0C-21-07, DevEUI 02-00-00-FF-FE-0C-00-01. The MIC
07E5D520 holds under the invented AppKey A0A1A2A3 A4A5A6A7 A8A9AAAB
ACADAEAF.

## Source
LoRaWAN 1.0.4, p. 45; 1.0.3, p. 36; 1.1, 6.2.2. QR order: TR005.
";
