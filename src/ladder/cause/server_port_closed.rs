//! Cause `server-port-closed`.

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
    id: CauseId::ServerPortClosed,
    what: "the server's host is reached, and no program listens on the port",
    places: &[Place::Gateway(Rung::UplinkAcknowledged), Place::Gateway(Rung::DownlinkOpen)],
    kind: Kind::Exact,
    checks: &[Check::Gateway(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let errors = [Leg::Push, Leg::Pull].map(|leg| (leg, case.network_error(leg)));
    let mut closed = errors.into_iter().filter_map(|(leg, error)| {
        let error = error?;
        let own = error.what == Unreachable::Port && error.by == error.to.ip();
        own.then_some((leg, error))
    });
    let (_, first) = closed.next()?;
    let server = first.to.to_string();
    let mut finding = Finding::new(
        Certainty::Certain,
        fact!(
            "{server} answers {gateway} with \"port unreachable\": the host is there, and no program listens on \
             that port",
            server = server.clone(),
            gateway = case.title()
        ),
        "correct the port in the gateway's configuration (serv_port_up, serv_port_down), or start the server's \
         program on that port",
    );
    let again = [Leg::Push, Leg::Pull].into_iter().filter_map(|leg| case.network_error(leg));
    for error in again.filter(|error| error.what == Unreachable::Port) {
        finding.add(unreachable(error));
    }
    Some(finding)
}

const PAGE: &str = r#"# server-port-closed
The server's host says that nothing listens on the port that the gateway sends
to.

## What is seen
At the gateway: no acknowledgement, ackr 0.0. In a recording of packets: an
ICMP error "port unreachable" after each datagram or after some of them, from
the very address that was asked. At the server: nothing.

## Why it happens
The port in the gateway's configuration is not the server's. Or the server's
program is not running, or listens on another address of the same host.

## How to be sure
The ICMP error repeats the first bytes of the datagram that it is about: its
addresses and ports must be the gateway's. It must come from the address
asked. If it comes from a router, see server-unreachable. One such error while
a server restarts, with acknowledgements before and after, is nothing.

Hosts limit how many such errors they send. Fewer errors than datagrams are
normal.

## What to do
1. Compare the gateway's two ports with the server's.
2. On the server: does the program run, and does it listen on this address and
   port, for UDP?
3. Start it, or correct the port.

## Example
The gateway sends to 198.51.100.7, port 1700. Each datagram is answered by
"port unreachable" of 198.51.100.7. The server listens on port 1702 since its
update.

## Source
RFC 792 (type 3, code 3); RFC 4443, 3.1 (code 4).
"#;
