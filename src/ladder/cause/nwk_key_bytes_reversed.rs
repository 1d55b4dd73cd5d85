//! Cause `nwk-key-bytes-reversed`.

use super::{Cause, CauseId, Check, Kind, Place, hits};
use crate::ladder::{
    finding::Finding,
    join::{self, Case},
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::NwkKeyBytesReversed,
    what: "the MIC holds under the NwkKey on record read backwards",
    places: &[Place::Join(join::Rung::Authentic)],
    kind: Kind::Exact,
    checks: &[Check::Join(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    Some(hits::key_hit(case, CauseId::NwkKeyBytesReversed)?.reversed())
}

const PAGE: &str = r"# nwk-key-bytes-reversed
The NwkKey that signs the Join-Request is the one on record with its sixteen
bytes in the opposite order.

## What is seen
At the join server: wrong MIC or silence. At the node (LoRaWAN 1.1):
attempts without answer. The AppKey may be right, and the two consoles agree
on it.

## Why it happens
In 1.1 the NwkKey signs the Join-Request, opens the accept and is the root
of the network session keys. It was turned round by hand like an EUI, or by
a tool that treats it as a 128-bit number in little-endian order. Keys are
byte strings and are never turned.

## How to be sure
Compute the MIC over the first 19 bytes under the record's NwkKey, its
reversal, the AppKey and the AppKey's reversal. Only the second holding is
this cause; false-match probability are 1 in 4 294 967 296 for one frame and
each extra trial, and multiply with further frames.

Nothing in the Join-Request shows the version. If the MIC holds under the
AppKey as printed, the node signs as 1.0.x does and the fault is the slot or
the version (root-key-in-the-wrong-slot). The AppKey cannot be judged from
the join at all in 1.1: it first shows in the payload, by way of the
AppSKey. Check it for the same mistake.

## What to do
1. Enter the NwkKey as printed on the side that has it turned.
2. Check the AppKey in the same dialogue or file: if one was turned, the
   other probably was.
3. Join again, and read one payload: noise after a good join points to the
   AppKey.

## Example
A 1.1 probe (DevEUI 02-00-00-FF-FE-0C-21-07, DevNonce 5) sends MIC 1C4CB8AE.
Record: invented NwkKey A0A1A2A3 A4A5A6A7 A8A9AAAB ACADAEAF, expected MIC
4E6618B5. Its reversal AFAEADAC ABAAA9A8 A7A6A5A4 A3A2A1A0 gives 1C4CB8AE.

## Source
LoRaWAN 1.1, 6.2.2 (NwkKey signs) and 6.2.3.
";
