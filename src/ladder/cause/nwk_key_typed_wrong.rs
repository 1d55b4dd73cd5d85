//! Cause `nwk-key-typed-wrong`.

use super::{Cause, CauseId, Check, Kind, Place, hits};
use crate::ladder::{
    finding::Finding,
    join::{self, Case},
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::NwkKeyTypedWrong,
    what: "the NwkKey on record is a typing error away from the one that signs",
    places: &[Place::Join(join::Rung::Authentic)],
    kind: Kind::Exact,
    checks: &[Check::Join(check), Check::Join(damaged)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    Some(hits::key_hit(case, CauseId::NwkKeyTypedWrong)?.typed())
}

fn damaged(case: &Case<'_>) -> Option<Finding> {
    join::authentic::damaged_on_record(case, "nwk-key")
}

const PAGE: &str = r"# nwk-key-typed-wrong
The NwkKey that signs the Join-Request differs from the one on record by a
typing error.

## What is seen
At the join server: wrong MIC, or silence. At the node (1.1, or a 1.0.x
stack that calls its only root key NwkKey): attempts without answer. EUIs
are right.

## Why it happens
1.1 has two root keys, 64 hex digits to enter. A digit was mistyped or two
neighbours swapped in the first of them, on the node or on the server.

## How to be sure
As for an AppKey: 480 keys with one digit replaced and at most 31 with
neighbours swapped, made from each claim's NwkKey, after the keys that a
program or another slot would make. With 869 keys tried, one that fits one
frame has a false-match probability of about 2e-7; one that fits two requests
with different DevNonce has about 5e-17.

Try the AppKey of both sides first, for in 1.0.x the same key may lie in the
other slot. Do not read a MIC that holds as proof that the AppKey is right
as well: in 1.1 it takes no part in the join. A node that is 1.0.x at heart
signs with the one root key it has, by whatever name.

State which claim the frame agrees with. Firmware and record are two
opinions, the label is the third.

## What to do
1. Correct the digit in the NwkKey on the side that disagrees with the
   label.
2. Compare the AppKey of both sides before the next join; do it by file or
   checksum, not by eye.
3. If the true value is lost, replace both root keys on both sides.

## Example
The orchard's 1.1 weather probe sends DevNonce 5 with MIC 2DDCF10C. Expected
under the record's NwkKey (invented, A0A1A2A3 A4A5A6A7 A8A9AAAB ACADAEAF):
4E6618B5. With digit 14 set to 1 in place of 6 the computed MIC is 2DDCF10C.
Two more requests agree.

## Source
LoRaWAN 1.1, 6.2.2; the search and its false-match probability: computed,
common practice.
";
