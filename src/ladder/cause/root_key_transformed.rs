//! Cause `root-key-transformed`.

use super::{Cause, CauseId, Check, Kind, Place, hits};
use crate::{
    fact::fact,
    ladder::{
        finding::Finding,
        join::{self, Case},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::RootKeyTransformed,
    what: "the key that signs is a claimed one rotated, inverted or mirrored",
    places: &[Place::Join(join::Rung::Authentic)],
    kind: Kind::Exact,
    checks: &[Check::Join(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let hit = hits::key_hit(case, CauseId::RootKeyTransformed)?;
    Some(hit.finding(
        fact!(
            "the MIC fails under {key} and holds under it with {change}",
            key = hit.label.clone(),
            change = hit.hit.mistake.change()?
        ),
        "enter the key on both sides as its source has it; look for the program between the two \
         that changes it (a shift, an inversion, another bit order)",
    ))
}

const PAGE: &str = r"# root-key-transformed
The key that signs the Join-Request is a claimed one, changed throughout: its
digits rotated, every bit inverted, or its bits in the reverse order.

## What is seen
At the server: wrong MIC, or silence. At the node: attempts without answer. In
the capture: DevEUI and JoinEUI are right in every request. The two keys, side
by side, look unrelated.

## Why it happens
A program stands between the label and the device: a flashing tool that writes
inverted, a secure element that is filled least significant bit first, a shift
when a key is cut out of a longer text. People do not make this mistake by
hand.

## How to be sure
When the MIC fails under the record's key, compute it under the key inverted,
with the bits of each byte or of all of it mirrored, and rotated by each
number of digits: some 40 candidates. A hit by accident on one frame has a
probability of 1e-8; a second request with another DevNonce excludes it.

Bytes, words or digits in another order are app-key-bytes-reversed and
nwk-key-bytes-reversed: there the fix is to enter the bytes in their order.

## What to do
1. Take the key from its source again, and enter it on both sides.
2. Look for the step that changes it: flashing tool, import script, the
   driver of the secure element.
3. Check the other nodes that went through the same step.

## Example
The record has (invented) 5A0C11D2 E37F4B88 96A1C0DE FACE0147. The probe signs
with A5F3EE2D 1C80B477 695E3F21 0531FEB8: every bit inverted.

## Source
LoRaWAN 1.0.4, p. 45; 1.0.3, p. 36 (the MIC). The mistake and the search:
common practice.
";
