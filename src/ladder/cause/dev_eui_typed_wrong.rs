//! Cause `dev-eui-typed-wrong`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    explore::near_miss::EuiName,
    ladder::{
        finding::Finding,
        join::{self, Case, identified::Pair},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::DevEuiTypedWrong,
    what: "the DevEUI sent differs from the one on record by a typing error",
    places: &[Place::Join(join::Rung::Identified)],
    kind: Kind::Exact,
    checks: &[Check::Join(check), Check::Join(|case| join::told::near_device(case, false))],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    Pair::of(case, EuiName::DevEui)?.typed(case)
}

const PAGE: &str = r"# dev-eui-typed-wrong
The DevEUI heard differs from one on record in one or two digits, or in two
neighbours swapped.

## What is seen
At the gateway: well-formed Join-Requests. At the server: silence or an
unknown device. At the node: attempts without answer. On the label, by eye:
nothing odd.

## Why it happens
Sixteen hex digits were copied by hand from a label, a screen or a
photograph. 8 and B, 0 and D, 1 and 7 look alike; two neighbours are
swapped; one digit is typed for another. The error may be on either side.

## How to be sure
Compare the heard DevEUI with every record, digit by digit. A near miss
alone is a hint: makers number nodes in sequence, so two nodes of one batch
differ in one digit by nature. The MIC decides. If it holds under the key of
the near record, the sender has that record's key: false-match probability
1 in 4 294 967 296 for each frame and key tried. Then the DevEUI is the
slip. If it fails there, look for another record.

The verdict needs keys of its own for each node. Where a complete batch shares
one key, the MIC cannot tell the neighbours apart, and the finding is no
more than likely.

## What to do
1. Read the label again, in good light; compare with both values below one
   another, the differing digit marked.
2. Correct the side that disagrees with the label. The frames say what the
   node has, not who erred.
3. Use the QR code in place of typing, where there is one.

## Example
    heard    02-00-00-FF-FE-0C-27-07
    record   02-00-00-FF-FE-0C-21-07
                                ^ digit 14 of 16

The MICs of both Join-Requests in the capture hold under the key of this
record. A scratched 1 on the label was read as a 7 when the firmware was
personalised; the server has it right.

## Source
LoRaWAN 1.0.4, p. 45 (MIC over the bytes sent); the search is common
practice.
";
