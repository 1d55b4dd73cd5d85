//! Cause `server-unreachable`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, fact},
    intake::{Leg, Unreachable},
    ladder::{
        finding::Finding,
        gateway::{Case, Rung, flows::unreachable},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::ServerUnreachable,
    what: "a router says that the server cannot be reached",
    places: &[Place::Gateway(Rung::UplinkAcknowledged), Place::Gateway(Rung::DownlinkOpen)],
    kind: Kind::Exact,
    checks: &[Check::Gateway(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let errors = [Leg::Push, Leg::Pull].into_iter().filter_map(|leg| case.network_error(leg));
    let mut errors =
        errors.filter(|error| error.what != Unreachable::Port || error.by != error.to.ip());
    let error = errors.next()?;
    let what = match error.what {
        Unreachable::Network => "the network is unreachable",
        Unreachable::Host => "the host is unreachable",
        Unreachable::Port => "the port is unreachable",
        Unreachable::Prohibited => "a rule forbids it",
        _ => "it cannot be delivered",
    };
    let mut finding = Finding::new(
        Certainty::Certain,
        fact!(
            "what {gateway} sends does not reach {server}: {by} says that {what}",
            gateway = case.title(),
            server = error.to.to_string(),
            by = error.by.to_string(),
            what
        ),
        fact!(
            "check the route to the server, and the rules of the firewall on the way; the router that says so is {by}",
            by = error.by.to_string()
        ),
    );
    for error in [Some(error), errors.next()].into_iter().flatten() {
        finding.add(unreachable(error));
    }
    Some(finding)
}

const PAGE: &str = r#"# server-unreachable
A router on the way says that the gateway's datagrams cannot be delivered.

## What is seen
At the gateway: no acknowledgement, ackr 0.0. In a recording of packets: ICMP
errors whose source is not the server: network unreachable, host unreachable,
no route, or administratively prohibited. At the server: nothing.

## Why it happens
The route to the server is missing or its line is down. Or a firewall rejects
the port, and says so. A server with a private address behind a VPN that is
down looks the same.

## How to be sure
The ICMP error repeats the first bytes of the datagram that it is about: its
addresses and ports must be the gateway's. Its source shows who says so. That
this router says it is certain; why it does is its own matter.

A short outage, with acknowledgements before and after, is not a fault of the
set-up.

## What to do
1. Look up the router by its address, and its route to the server.
2. If the error says "prohibited", look at the firewall's rule for both ports.
3. Trace the way from the gateway, by UDP and with the same port.

## Example
192.0.2.1, the router of the orchard, answers every third datagram with "host
unreachable". The VPN to the server's network had not come up after a restart.

## Source
RFC 792 (type 3, codes 0, 1, 13); RFC 1812, 5.2.7.1; RFC 4443, 3.1.
"#;
