//! Cause `another-host-speaks-for-the-server`.

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
    id: CauseId::AnotherHostSpeaksForTheServer,
    what: "another host sends orders from the server's address",
    places: &[Place::Gateway(Rung::Sends)],
    kind: Kind::Exact,
    checks: &[Check::Gateway(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let host = hosts::other_host(case, Sender::Server)?;
    let mut finding = Finding::new(
        Certainty::Likely,
        fact!(
            "another host sends {orders} to {gateway} from the server's address, and the gateway takes {taken}",
            orders = Value::Count(host.orders, "PULL_RESP datagram"),
            gateway = case.title(),
            taken = host.taken
        ),
        "find the host with that link-layer address and take it off the network; carry the gateway's traffic \
         in a tunnel or over TLS, so that an address alone proves nothing",
    )
    .and(hosts::introduce(host))
    .and(fact!("from {first} to {last}", first = host.span.0, last = host.span.1))
    .and("what it sends is left out of the judgement of the gateway and of the nodes");
    finding.caution = true;
    Some(finding)
}

const PAGE: &str = r"# another-host-speaks-for-the-server
A second host sends downlinks to the gateway from the IP address of the
server.

## What is seen
At the gateway: it transmits more than the server orders, and refuses
downlinks of the server because the air is taken. At the server:
acknowledgements (TX_ACK) for orders that it never gave. In a recording of
packets: two link-layer addresses behind the server's IP address.

## Why it happens
The UDP protocol has no signature: a gateway transmits what comes from the
server's address and port. It is an attack, a test of one, or an old server
that still runs under the same address.

## How to be sure
Record at the gateway or its switch, with link-layer addresses. What the
gateway sends to the server's IP address goes to the link-layer address that
has it. A host that sends from this IP address, and that never gets anything,
is another one.

Two servers with addresses of their own are not meant. A router on the way
shows its own link-layer address for every address behind it.

## What to do
1. Look up the link-layer address in the tables of the switches, and find the
   port that it is on.
2. Take that host off the network.
3. Set the gateway's firewall to take datagrams through a tunnel alone, or
   change to the station protocol over TLS.

## Example
The server is 192.0.2.1 at 02:00:00:21:AE:09. For two minutes
02:00:00:B5:61:46 sends PULL_RESP from 192.0.2.1 with the same
Join-Accept, and the gateway transmits it 168 times.

## Source
The gateway packet-forwarder protocol (no authentication of datagrams); RFC
826 (who has an address answers for it).
";
