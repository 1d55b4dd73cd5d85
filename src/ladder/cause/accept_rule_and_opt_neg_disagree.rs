//! Cause `accept-rule-and-opt-neg-disagree`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::ladder::join;

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::AcceptRuleAndOptNegDisagree,
    what: "the accept is signed by one version's rule, and OptNeg names the other",
    places: &[Place::Join(join::Rung::Acceptable)],
    kind: Kind::Exact,
    checks: &[Check::Join(join::acceptable::opt_neg)],
    page: PAGE,
};

const PAGE: &str = r#"# accept-rule-and-opt-neg-disagree
The Join-Accept is signed by one version's rule, and its OptNeg bit names
the other.

## What is seen
On a 1.1 node: the accept is dropped, and it asks again. On a 1.0.x node:
the accept may be taken, since bit 7 of DLSettings is RFU there. On the
server: accept sent.

## Why it happens
OptNeg is bit 7 of DLSettings. A 1.0.x server that writes the whole octet
from a field of its own may set it; a 1.1 server may forget it. A 1.1 node
decides by this bit alone which rule it applies.

## How to be sure
Open the accept with the node's key, read bit 7 of DLSettings, and check the
MIC by both rules. One of them holds; OptNeg must be 1 for the 1.1 rule and
0 for the 1.0 rule. The MIC leaves odds of 2^-32 an accept.

A wrong key makes the bit random: judge it only where a MIC holds.

## What to do
1. Set the MAC version on record to the one the node has.
2. On the server, keep bit 7 of DLSettings 0 for 1.0.x, 1 for 1.1.

## Example
probe-09 speaks 1.1. Its server signs by the 1.0 rule and sends DLSettings
83: OptNeg 1, offset 0, RX2 DR3. The probe looks for a MIC under JSIntKey
and finds none.

## Source
LoRaWAN 1.1, 6.2.3; LoRaWAN 1.0.4, p. 47.
"#;
