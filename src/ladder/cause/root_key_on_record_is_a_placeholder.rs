//! Cause `root-key-on-record-is-a-placeholder`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    explore::near_miss::{is_placeholder, sample},
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        join::{
            Case, Rung, authentic,
            why::{FirmwareKey, Why},
        },
        subject::signing_role,
    },
    roster::ClaimKind,
    trace::KeyRef,
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::RootKeyOnRecordIsAPlaceholder,
    what: "the root key on record is all zeros or all FF: nobody entered the node's",
    places: &[Place::Join(Rung::Authentic)],
    kind: Kind::Exact,
    checks: &[Check::Join(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let (ClaimKind::Record, claim) = case.reference()? else { return None };
    let at =
        KeyRef { node: case.node.index?, claim: ClaimKind::Record, role: signing_role(claim)? };
    let root = at.resolve(case.roster)?;
    let value = sample(root.key()).filter(|_| is_placeholder(root.key()))?;
    let failing: Vec<_> = case
        .broken_at(Rung::Authentic)
        .map(|(_, attempt)| attempt)
        .filter(|attempt| attempt.ask.join().is_some())
        .collect();
    if failing.is_empty() {
        return None;
    }
    let key = at.role.name();
    let mut finding = Finding::new(
        Certainty::Certain,
        fact!(
            "the {key} on record is a placeholder, {value}, and the node signs with another key",
            key,
            value = value.text()
        ),
        fact!("enter the node's {key} on record", key),
    );
    let requests = Value::count(failing.len(), "request");
    let fact = fact!("the MIC of {requests} fails under the key on record", requests);
    finding.add(failing.iter().fold(fact, |fact, attempt| fact.at(*attempt)));
    if let Some(Why::Key(hit)) = authentic::why(case)
        && hit.firmware == FirmwareKey::Signs
    {
        finding.add(fact!("it holds under {key}", key = hit.label.clone()));
        finding = finding.matched_by_chance(1.0, failing.len());
    }
    Some(finding)
}

const PAGE: &str = r"# root-key-on-record-is-a-placeholder
The root key on record is all zeros, or all FF: a value that fills the field
until somebody enters the node's key. The node signs with another one.

## What is seen
At the server: wrong MIC, or silence. At the node: attempts without answer. In
the capture: DevEUI and JoinEUI are right in every request, and the MIC fails.

## Why it happens
The node was registered before its key was known. An import left the column
empty, and the form filled it. A device profile was copied with its
placeholder.

## How to be sure
The value says it: no generator of keys makes 16 equal bytes. That the node
has another key is shown by the MIC: it fails under the placeholder. If the
firmware's key is on the roster, check that the MIC holds under it.

Where the MIC holds under such a value, the node has the placeholder, too:
then it is firmware-still-uses-a-sample-key, and anybody can read its frames.

## What to do
1. Enter the node's root key on record: AppKey in 1.0.x, NwkKey in 1.1 (and
   AppKey as well).
2. Look at the other nodes that were registered in the same way.
3. Let the import refuse a row without a key.

## Example
Probe-12 was registered by a list without keys. Its record has 32 zeros. Its
three requests fail under them and hold under the key in its firmware.

## Source
LoRaWAN 1.0.4, p. 45; 1.0.3, p. 36 (the MIC). Placeholders: common practice.
";
