//! Cause `join-requests-forged`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        join::{self, Case, others},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::JoinRequestsForged,
    what: "another host sends Join-Requests in the node's name",
    places: &[Place::Join(join::Rung::Authentic)],
    kind: Kind::Exact,
    checks: &[Check::Join(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let all = others::requests(case);
    let found = all.iter().find(|requests| !requests.forged.is_empty())?;
    let mut finding = Finding::new(
        Certainty::Likely,
        fact!(
            "another host sends {requests} under DevEUI {dev_eui} whose MIC no key of the node makes",
            requests = Value::count(found.forged.len(), "Join-Request"),
            dev_eui = case.node.dev_eui?
        ),
        "find the host with that link-layer address; leave the node and its key as they are",
    )
    .and(others::introduce(found.host));
    finding.evidence.extend(others::told(&found.forged));
    if let Some(frame) = found.others.first() {
        finding.add(fact!(
            "{frame}: the MIC of {requests} more of that host holds",
            frame = frame.moment,
            requests = found.others.len()
        ));
    }
    finding.add("the node's own attempts are judged without them");
    finding.caution = true;
    Some(finding)
}

const PAGE: &str = r#"# join-requests-forged
Another host sends Join-Requests under the node's DevEUI, and cannot sign
them.

## What is seen
At the server: many refused requests of one DevEUI, with "MIC failed". At the
node: nothing. In the capture: requests whose MIC fails between requests of
the same DevEUI whose MIC holds.

## Why it happens
DevEUI and JoinEUI are sent in clear: anyone who hears them can write them
into a request. Without the root key the MIC fails. It is an attack that tries
to fill the server's log or use up DevNonces, or a test of one.

## How to be sure
The MIC fails under every key of the node, while the node's own requests hold.
The failing ones come from a link-layer address that the gateway's answers
never go to.

A node with a wrong key fails in all its requests, and they come through its
gateway. A damaged frame fails once.

## What to do
1. Leave the node and its key as they are.
2. Find the host by its link-layer address, and take it off the network.
3. Check that the server checks the MIC before it remembers the DevNonce.

## Example
Probe-03 joins 18 times with a good MIC. In between come 200 requests with
rising DevNonce from 02:00:00:00:00:0A, and the MIC fails in each.

## Source
LoRaWAN 1.0.4, p. 45; 1.1, 6.2.2.
"#;
