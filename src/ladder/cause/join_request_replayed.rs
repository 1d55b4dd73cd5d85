//! Cause `join-request-replayed`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        join::{self, Case, others},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::JoinRequestReplayed,
    what: "another host repeats a Join-Request of the node",
    places: &[Place::Join(join::Rung::Fresh)],
    kind: Kind::Exact,
    checks: &[Check::Join(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let all = others::requests(case);
    let (found, frames) = all.iter().find_map(|found| Some((found, found.repeated()?)))?;
    let first = frames.first()?;
    let mut finding = Finding::new(
        Certainty::Likely,
        fact!(
            "another host repeats a Join-Request of the node {times}",
            times = Value::count(frames.len(), "time")
        ),
        "find the host with that link-layer address; the server must drop a DevNonce that it has accepted",
    );
    match found.replayed.first() {
        Some((_, own)) => finding.add(fact!(
            "{request}: the node's own request, DevNonce {dev_nonce}",
            request = *own,
            dev_nonce = own.nonce()
        )),
        None => finding.add(fact!(
            "{frame}: the MIC holds under the node's key; the node's own is not in the capture",
            frame = first.moment
        )),
    }
    finding.add(others::introduce(found.host));
    finding.evidence.extend(others::told(&frames));
    finding.add("the node's own attempts are judged without them");
    finding.caution = true;
    Some(finding)
}

const PAGE: &str = r"# join-request-replayed
A Join-Request that the node sent before is sent again by another host.

## What is seen
At the server: one DevNonce again and again, each refused as used, or answered
by a server that does not check it. At the node: nothing, or a session that
the server has replaced. In the capture: the same 23 bytes long after the
answer.

## Why it happens
A Join-Request is not encrypted, and its MIC stays right however often it is
sent. Only the DevNonce, which the server remembers, makes it old. It is an
attack, or a test of one.

## How to be sure
The bytes are those of a request heard before, and they come from a link-layer
address that the gateway's answers never go to. The node goes on with other
DevNonces, or with data of its session.

A copy is not a replay: it comes through another gateway within seconds, or as
a ghost on another channel within microseconds. A node that draws the same
DevNonce after every reset repeats its own requests, through its own gateway.

## What to do
1. Find the host by its link-layer address, and take it off the network.
2. Set the server to drop a DevNonce that it has accepted, in every version,
   and to keep the old session until an uplink proves the new one.
3. If the server has replaced the session, restart the node: it joins again.

## Example
Probe-03 joins with DevNonce 5C21 at 13:07. From 13:09 on the same request
comes 200 times from 02:00:00:B5:61:46, in the gateway's name.

## Source
LoRaWAN 1.0.3, p. 34-35; 1.0.4, p. 45 (a DevNonce is accepted once).
";
