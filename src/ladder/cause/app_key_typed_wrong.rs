//! Cause `app-key-typed-wrong`.

use super::{Cause, CauseId, Check, Kind, Place, hits};
use crate::ladder::{
    finding::Finding,
    join::{self, Case},
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::AppKeyTypedWrong,
    what: "the AppKey on record is a typing error away from the one that signs",
    places: &[Place::Join(join::Rung::Authentic)],
    kind: Kind::Exact,
    checks: &[
        Check::Join(check),
        Check::Join(damaged),
        Check::Join(join::told::console::key_typed),
    ],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    Some(hits::key_hit(case, CauseId::AppKeyTypedWrong)?.typed())
}

fn damaged(case: &Case<'_>) -> Option<Finding> {
    join::authentic::damaged_on_record(case, "app-key")
}

const PAGE: &str = r"# app-key-typed-wrong
The AppKey that signs the Join-Request differs from the one on record by a
typing error.

## What is seen
At the server: wrong MIC, or silence. At the node: attempts without answer.
In the capture: DevEUI and JoinEUI are right in every request.

## Why it happens
One of 32 hex digits was mistyped or misread, or two neighbours were
swapped, when the key was copied by hand. It can be on either side.

## How to be sure
When the MIC fails under the record's key, try each single digit replaced
(32 x 15 = 480 keys) and each pair of neighbours swapped (at most 31). Keys
that a program or another slot would make are tried before these. The count
that a verdict prints is all of them together: 869 in the demo. That one of
869 keys fits one frame by accident has a probability of 869 in
4 294 967 296, about 2e-7. The same key must fit a second request with
another DevNonce: about 5e-17 for both. Copies of one request through two
gateways are one frame, not two.

The frames agree with the key that the node uses. They do not say who erred;
the label or the delivery list does. A hit from a much larger search over a
single frame is not a finding. If firmware and record both are at hand,
comparing them needs no frame at all.

Other causes are tried first: byte reversal, another slot, sample key, key
of another node. A stale key differs in about 30 of 32 digits and never
looks like a typing error.

## What to do
1. Correct the digit named, on the side that disagrees with the label.
2. If the label is lost, make a new key for this node and enter it on both
   sides.
3. Copy keys by file, not by hand: a TR005 label carries EUIs, no key.

## Example
The record has (invented) A0A1A2A3 A4A5A6A7 A8A9AAAB ACADAEAF. The probe's
request has the MIC 2DDCF10C instead of 4E6618B5. One of the keys tried fits:
A0A1A2A3 A4A5A1A7 ..., digit 14 of 32 is 1, not 6. The second request fits it,
too.

## Source
LoRaWAN 1.0.4, p. 45; 1.0.3, p. 36. The search and its false-match
probability: computed, common practice.
";
