//! Cause `accept-rule-and-opt-neg-disagree`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    frame::MacVersion,
    ladder::{
        finding::Finding,
        join::{
            self, Case,
            acceptable::{MOST_TOLD, opened_and_refused},
        },
    },
    trace::Rule,
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::AcceptRuleAndOptNegDisagree,
    what: "the accept is signed by one version's rule, and OptNeg names the other",
    places: &[Place::Join(join::Rung::Acceptable)],
    kind: Kind::Exact,
    checks: &[Check::Join(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let mut off = opened_and_refused(case);
    off.retain(|(.., o)| (o.rule == Rule::V1_1) != o.opened.accept.dl_settings.opt_neg());
    let (.., opening) = *off.first()?;
    let by_1_1 = opening.rule == Rule::V1_1;
    // No version takes the 1.1 rule with OptNeg 0; the 1.0 rule with OptNeg 1 a 1.0.x node does.
    let stated = by_1_1 || case.node_version().is_some();
    let version = case.node_version().or(case.record_version()).unwrap_or(MacVersion::V1_1);
    let mut finding = Finding::new(
        if stated { Certainty::Certain } else { Certainty::Likely },
        fact!(
            "the accept's MIC holds by the {rule} rule, and its OptNeg is {opt_neg}: a {mac_version} \
             node applies the other rule and drops it",
            rule = opening.rule.name(),
            opt_neg = u8::from(opening.opened.accept.dl_settings.opt_neg()),
            mac_version = version.name()
        ),
        "set the MAC version on record to the node's, and set the server to send bit 7 of DLSettings \
         as 1 for 1.1 and as 0 for 1.0.x",
    );
    for (_, answer, opening) in off.iter().take(MOST_TOLD) {
        finding.add(fact!(
            "{accept}: DLSettings {dl_settings}, MIC by the {rule} rule",
            accept = &answer.sending,
            dl_settings = Value::Bytes(vec![opening.opened.accept.dl_settings.0]),
            rule = opening.rule.name()
        ));
    }
    if let (Some(record), Some(node)) = (case.record_version(), case.node_version()) {
        finding.add(fact!(
            "the record says {on_record}, the firmware {firmware}",
            on_record = record.name(),
            firmware = node.name()
        ));
    }
    Some(finding.matched_by_chance(2.0, off.len()))
}

const PAGE: &str = r"# accept-rule-and-opt-neg-disagree
The Join-Accept is signed by one version's rule, and its OptNeg bit names
the other.

## What is seen
On a 1.1 node: the accept is dropped, and it asks again. On a 1.0.x node:
the accept may be taken, since bit 7 of DLSettings is RFU there. On the
server: accept sent.

## Why it happens
OptNeg is bit 7 of DLSettings. A 1.0.x server that writes the complete byte
from a field of its own may set it; a 1.1 server may forget it. A 1.1 node
decides by this bit alone which rule it applies.

## How to be sure
Open the accept with the node's key, read bit 7 of DLSettings, and check the
MIC by both rules. One of them holds; OptNeg must be 1 for the 1.1 rule and 0
for the 1.0 rule. The MIC leaves a false-match probability of 2^-32 an accept.

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
";
