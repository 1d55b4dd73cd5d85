//! Cause `join-accept-replayed`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        join::{self, Case, others},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::JoinAcceptReplayed,
    what: "another host sends an old Join-Accept to the gateway",
    places: &[Place::Join(join::Rung::Answered)],
    kind: Kind::Exact,
    checks: &[Check::Join(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let all = others::accepts(case);
    let found = all.first()?;
    let mut finding = Finding::new(
        Certainty::Likely,
        fact!(
            "another host sends {different} for this node {times} in the server's name, without a request",
            different = Value::count(found.different, "Join-Accept"),
            times = Value::count(found.frames.len(), "time")
        ),
        "find the host with that link-layer address; use a node stack that checks JoinNonce (1.0.4 and 1.1 do)",
    )
    .and(others::introduce(found.host));
    finding.evidence.extend(others::told(&found.frames));
    finding.add(fact!(
        "the gateway takes {taken} of its {orders}",
        taken = found.host.taken,
        orders = Value::Count(found.host.orders, "order")
    ));
    finding.add("the node's own attempts are judged without them");
    finding.caution = true;
    Some(finding)
}

const PAGE: &str = r"# join-accept-replayed
A Join-Accept made for the node is sent again by another host, in the server's
name.

## What is seen
At the gateway: it transmits Join-Accepts that answer nothing. At the node: a
join that seems to succeed, and then no downlink that verifies. At the server:
uplinks of a DevAddr that it no longer knows.

## Why it happens
By the 1.0 rule the MIC of a Join-Accept does not cover the DevNonce. A node
of 1.0.3 or older that waits for an answer takes any accept that its key
opens, an old one, too. It is an attack, or a test of one.

## How to be sure
The accept opens under the node's key. It comes from a link-layer address that
the server's own traffic never goes to. No request is before it in whose
windows it falls, or its JoinNonce is that of an earlier accept.

A server that sends one accept in RX1 and RX2, or through two gateways, sends
it within seconds and from its own address.

## What to do
1. Find the host by its link-layer address, and take it off the network.
2. Use a stack of 1.0.4 or 1.1: it refuses a JoinNonce that does not rise.
3. Join again if the node took an old accept.

## Example
From 12:40 to 12:42 the accept with JoinNonce 0003B1 comes 200 times as
PULL_RESP from 02:00:00:B5:61:46. The gateway transmits it 168 times.

## Source
LoRaWAN 1.0.3, p. 35-36; 1.0.4, p. 46 (JoinNonce must rise).
";
