//! Cause `dev-eui-bytes-reversed`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    explore::near_miss::EuiName,
    ladder::{
        finding::Finding,
        join::{self, Case, identified::Pair},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::DevEuiBytesReversed,
    what: "the DevEUI sent is the one on record read backwards",
    places: &[Place::Join(join::Rung::Identified)],
    kind: Kind::Exact,
    checks: &[
        Check::Join(check),
        Check::Join(|case| join::told::near_device(case, true)),
        Check::Join(join::told::console::eui_reversed),
    ],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    Pair::of(case, EuiName::DevEui)?.reversed(case)
}

const PAGE: &str = r#"# dev-eui-bytes-reversed
The DevEUI that the node sends is the registered one with its eight bytes in
the opposite order.

## What is seen
At the node: attempts without answer. At the gateway: well-formed
Join-Requests. At the server: silence, or an unknown device; an unknown
DevEUI is seldom logged. In the capture: a DevEUI that begins where the
record's ends.

## Why it happens
An EUI is printed with its most significant byte first and sent with its
least significant byte first. Some firmware expects the array in the printed
order and turns it round itself; other firmware copies the array to the air
as it is. A value entered for the one kind into the other comes out
reversed.

## How to be sure
Reverse the bytes, not the digits: 0C stays 0C. If the result equals a
record, check the MIC of the frame as it was sent under that record's key.
The MIC covers the bytes on the air, whatever order they are in, so it
holds if the key is right. That is the proof: by accident it happens once in
4 294 967 296 for each frame and key.

If the MIC fails under that key, the reversal may still be so, but a second
fault hides it; do not call it certain. A value that reads the same both
ways (00-11-11-00-00-11-11-00) says nothing. Keys are never reversed on the
air: do not turn the key round "for consistency".

## What to do
1. Turn the DevEUI round on one side only. Best is the node, so that label,
   record and air agree.
2. Look at the JoinEUI, too: it was probably entered in the same way.
3. Leave the AppKey or NwkKey as printed.

## Example
On record: DevEUI 02-00-00-FF-FE-0C-21-07. The probe sends

    00 01000CFEFF000002 020000FFFE0C2107 0500 E7129535

whose DevEUI field, read as the standard reads it, is
07-21-0C-FE-FF-00-00-02: the record backwards. The MIC E7129535 holds under
the record's AppKey (invented: A0A1A2A3 A4A5A6A7 A8A9AAAB ACADAEAF).
Identity is wrong, key is right.

## Source
LoRaWAN 1.0.4, p. 45, and its conventions on byte order; 1.0.2, 1.2.
"#;
