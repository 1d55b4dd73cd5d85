//! Cause `server-says-1.1-node-is-1.0`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    frame::MacVersion,
    ladder::{
        finding::Finding,
        join::{self, Case, acceptable::opened_and_refused},
    },
    trace::Rule,
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::ServerSays11NodeIs10,
    what: "the accept was made by the 1.1 rule, the node is 1.0.x",
    places: &[Place::Join(join::Rung::Acceptable)],
    kind: Kind::Exact,
    checks: &[Check::Join(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let version = case.node_version()?;
    let mut by_1_1 = opened_and_refused(case);
    by_1_1.retain(|(.., o)| {
        o.rule == Rule::V1_1 && o.opened.accept.dl_settings.opt_neg() && version != MacVersion::V1_1
    });
    let (.., opening) = *by_1_1.first()?;
    let mac_version = version.name();
    let mut finding = Finding::new(
        Certainty::Certain,
        fact!(
            "the accept follows LoRaWAN 1.1 (OptNeg 1, MIC under JSIntKey); the node is {mac_version} \
             and cannot authenticate it",
            mac_version
        ),
        fact!("set the MAC version on record to {mac_version}", mac_version),
    );
    finding.add(fact!(
        "{accepts}: the MIC holds by the 1.1 rule under a key derived from {key}, and fails by the \
         1.0 rule",
        accepts = Value::count(by_1_1.len(), "Join-Accept"),
        key = opening.key
    ));
    if let Some(record) = case.record_version() {
        finding.add(fact!(
            "the record says {on_record}, the firmware {mac_version}",
            on_record = record.name(),
            mac_version
        ));
    }
    finding.add("the request is good: the key is right");
    Some(finding.matched_by_chance(1.0, by_1_1.len()))
}

const PAGE: &str = r#"# server-says-1.1-node-is-1.0
The accept was made by the 1.1 rule, and the node applies the 1.0 rule.

## What is seen
At the server: request good, accept sent, device registered as 1.1. At the
gateway: sent in time. At the node (1.0.x): a frame arrives, its MIC fails,
and it asks again.

## Why it happens
The record says 1.1, the node is 1.0.x. With one key in both fields, or the
AppKey in the field NwkKey, the request's MIC holds and everything looks
right. But the server sets OptNeg and computes the accept's MIC with
JSIntKey over the request's type, JoinEUI and DevNonce as well. People come
here by making names match (root-key-in-the-wrong-slot) or by taking a
library's version number for its MAC version.

## How to be sure
Open the accept under the node's root key. If the fields are sound, bit 7 of
DLSettings is 1, the MIC holds by the 1.1 rule and fails by the 1.0 rule,
then it is certain that the accept is a 1.1 accept. That the node is 1.0.x
is the claim's word, or its behaviour: it asks again after several such
accepts.

"Key wrong" and "accept damaged" are refuted by the opening. "Node deaf" is
too early while it cannot authenticate what it hears. A stack that looks at
bit 7 alone would follow the 1.1 rule even in a 1.0 accept whose RFU bit is
set.

## What to do
1. Set the record to the node's true MAC version and put its AppKey into the
   field for 1.0.x.
2. Leave the node as it is.
3. If the node does support 1.1, look for the switch in its build, and give
   it both root keys.

## Example
Probe-06 is 1.0.3; record 1.1 with the invented key A0A1...AF twice. The
accept opens: JoinNonce 42, NetID 000001, DevAddr 020C2107, DLSettings 80.
Its MIC is 04A31116, the 1.1 rule with DevNonce 5. The probe computes
31E3F8DC and drops it.

## Source
LoRaWAN 1.1, 6.2.3; 1.0.3, p. 36; 1.0.4, p. 46-47.
"#;
