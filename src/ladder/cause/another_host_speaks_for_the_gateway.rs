//! Cause `another-host-speaks-for-the-gateway`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    intake::Sender,
    ladder::{
        finding::Finding,
        gateway::{Case, Rung, hosts},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::AnotherHostSpeaksForTheGateway,
    what: "another host sends from the gateway's address",
    places: &[Place::Gateway(Rung::Speaks)],
    kind: Kind::Exact,
    checks: &[Check::Gateway(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let host = hosts::other_host(case, Sender::Gateway)?;
    let mut finding = Finding::new(
        Certainty::Likely,
        fact!(
            "another host sends from the address of {gateway}: {pushes} and {pulls}",
            gateway = case.title(),
            pushes = Value::Count(host.pushes, "PUSH_DATA datagram"),
            pulls = Value::Count(host.pulls, "PULL_DATA datagram")
        ),
        "find the host with that link-layer address and take it off the network; carry the gateway's traffic \
         in a tunnel or over TLS, so that an address alone proves nothing",
    )
    .and(hosts::introduce(host))
    .and(fact!("from {first} to {last}", first = host.span.0, last = host.span.1))
    .and(fact!(
        "the server acknowledges {datagrams} of it",
        datagrams = Value::Count(host.acknowledged, "datagram")
    ))
    .and("what it sends is left out of the judgement of the gateway and of the nodes");
    finding.caution = true;
    Some(finding)
}

const PAGE: &str = r"# another-host-speaks-for-the-gateway
A second host sends datagrams from the IP address of the gateway, with the
gateway's EUI.

## What is seen
At the server: frames that no node sent, requests for downlinks far too often,
Join-Requests again and again. At the gateway: nothing. In a recording of
packets: two link-layer addresses behind one IP address.

## Why it happens
The UDP protocol has no signature: anyone who can write the gateway's address
and EUI into a datagram speaks for it. It is an attack, a test of one, or a
second machine that was given the same address by mistake.

## How to be sure
Record at the server or at the gateway's switch, with link-layer addresses.
Answers to the IP address go to the link-layer address of the host that has
it. A host that sends from this IP address, and to which no answer ever goes,
is another one.

A router on the way shows its own link-layer address, and two routers of one
path may take turns. But a router sends for several addresses, and it can
carry the answer to a question that only the gateway got. Both clear it. A
gateway with a new network card gets the answers under the new address.

## What to do
1. Look up the link-layer address in the tables of the switches, and find the
   port that it is on.
2. Take that host off the network.
3. Carry the gateway's traffic in a tunnel, or change to the station protocol
   over TLS.

## Example
Gateway 02-00-00-FF-FE-FC-28-D4 sends from 192.0.2.7, link-layer address
02:00:00:A0:18:27, and gets its acknowledgements there. From 14:32 to 14:34
02:00:00:B5:61:46 sends 200 PULL_DATA from 192.0.2.7, and gets nothing.

## Source
The gateway packet-forwarder protocol (no authentication of datagrams); RFC
826 (who has an address answers for it).
";
