//! Cause `join-eui-bytes-reversed`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    explore::near_miss::EuiName,
    ladder::{
        finding::Finding,
        join::{self, Case, identified::Pair},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::JoinEuiBytesReversed,
    what: "the JoinEUI sent is the one on record read backwards",
    places: &[Place::Join(join::Rung::Identified)],
    kind: Kind::Exact,
    checks: &[Check::Join(check), Check::Join(|case| join::told::join_eui(case, true))],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    Pair::of(case, EuiName::JoinEui)?.reversed(case)
}

const PAGE: &str = r"# join-eui-bytes-reversed
The JoinEUI that the node sends is the registered one with its eight bytes
in the opposite order.

## What is seen
At the gateway: well-formed Join-Requests with the right DevEUI. At the
server: depends on the server. Some look for the pair of both EUIs and stay
silent; some route by JoinEUI; some ignore it and answer. A gateway that
filters by JoinEUI may drop the frame.

## Why it happens
The JoinEUI (AppEUI in 1.0.0 to 1.0.3) goes on the air least significant
byte first, like the DevEUI. Firmware differs in the order it wants it
typed. Often both EUIs are reversed; if the DevEUI came from the chip, this
one alone is.

## How to be sure
Reverse the eight bytes and compare with the record. Then check the MIC under
the record's key over the bytes as sent: if it holds (by accident: 1 in 4 294
967 296 a frame), the node is ours and only its JoinEUI differs.

That the value differs is certain; that it keeps the node out is not. If an
accept came, the server does not check the JoinEUI. In 1.0.x the JoinEUI
enters no key, so a join can still be good. In 1.1 it enters the accept's
MIC and all session keys: a server that uses the record's value makes an
accept the node cannot authenticate.

An all-zero JoinEUI reads the same both ways and is allowed.

## What to do
1. Enter the JoinEUI in the node in the order that its firmware expects; the
   frame must show the last printed byte first.
2. Or, if the node cannot be reached, register the value it sends.
3. Check ranges or filters at gateway and join server.

## Example
Record: JoinEUI 02-00-00-FF-FE-0C-00-01. The probe sends

    00 020000FFFE0C0001 07210CFEFF000002 0500 97289CB3

Its DevEUI is right (02-00-00-FF-FE-0C-21-07). Its JoinEUI field is
01-00-0C-FE-FF-00-00-02. The MIC holds under the invented AppKey A0A1A2A3
A4A5A6A7 A8A9AAAB ACADAEAF.

## Source
LoRaWAN 1.0.4, p. 45-46; 1.1, 6.2.2 and 6.2.3; byte order: 1.0.4,
conventions.
";
