//! Cause `data-signed-by-another-rule`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    explore::misreading::Family,
    ladder::{
        finding::Finding,
        join::{
            self, Case,
            proven::derived::{against_opt_neg, explored, ignores_fallback},
        },
    },
    trace::Rule,
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::DataSignedByAnotherRule,
    what: "the first uplink verifies under a misread MIC only",
    places: &[Place::Join(join::Rung::Proven)],
    kind: Kind::Exact,
    checks: &[Check::Join(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    if ignores_fallback(case).is_some() || against_opt_neg(case, Rule::V1_0).is_some() {
        return None;
    }
    let explored = explored(case)?;
    (explored.found.first_family() == Some(Family::DataMic)).then(|| explored.finding("MIC"))
}

const PAGE: &str = r"# data-signed-by-another-rule
The session keys are right, yet one side computes the MIC of data frames in
a way of its own.

## What is seen
The join is good on both sides, and no data is taken. On the server: MIC
failed, or counter wrong. On the node: it sends and is never acknowledged.

## Why it happens
The block B0 in front of the message is built wrongly (DevAddr or counter in
the other byte order, Dir swapped, the length counted with the MIC), MHDR
is left out, the MIC is computed before the encryption, or, in 1.1, the two
halves are swapped or both come from one key.

## How to be sure
Compute the MIC of every frame of the new DevAddr with each of these changes
under the keys that the accept gives. A change under which all of them hold is
not an accident; the probability is shown with the verdict. Half a MIC in 1.1
has 16 bits only: two frames are needed.

If the frames hold under other session keys, the cause is
session-keys-derived-by-another-rule. If they hold with another upper half
of the counter, it is a counter's.

## What to do
1. Write down B0 for one frame: 49, four bytes, Dir, DevAddr and the 32-bit
   FCnt least significant byte first, 00, the bytes of the message.
2. Compute AES-CMAC of B0 and the message as sent; the first four bytes are
   the MIC.
3. Fix the side that the verdict names.

## Example
probe-21 counts the four bytes of the MIC into the length at the end of B0:
its 13-octet message has 11 (hex) there, where 0d belongs.

## Source
LoRaWAN 1.0.4, p. 24-25; LoRaWAN 1.1, 4.4.
";
