//! Cause `gateway-not-on-the-roster`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, fact},
    ladder::{
        finding::Finding,
        gateway::{Case, Rung, identity::Known, told},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::GatewayNotOnTheRoster,
    what: "the only gateway that speaks is not on the roster",
    places: &[Place::Gateway(Rung::Known)],
    kind: Kind::Exact,
    checks: &[Check::Gateway(check), Check::Gateway(told::unknown)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let (Known::Unlisted, Some(gateway)) = (&case.known, case.eui) else { return None };
    let mut finding = Finding::new(
        Certainty::Possible,
        fact!(
            "gateway {gateway} speaks and is not on the roster; none that is on it speaks",
            gateway
        ),
        "find out which gateway stands where the capture was made; register this EUI at the server, or capture the \
         gateway that is registered",
    );
    let listed = case.roster.gateways.iter().take(MOST_TOLD);
    for entry in listed {
        finding.add(fact!("on the roster: {registered}", registered = entry.eui));
    }
    finding.add("no typing error makes one of the other");
    Some(finding)
}

/// Gateways of the roster that are named.
const MOST_TOLD: usize = 4;

const PAGE: &str = r"# gateway-not-on-the-roster
The only gateway in the capture is not on the roster, and none that is on the
roster speaks.

## What is seen
In the capture: datagrams of one gateway, often acknowledged. On the roster:
other gateways. At the server: the gateway of the roster is offline, or never
seen. At the nodes: often no answer.

## Why it happens
The gateway was never registered, or was swapped and the new one was not. Or
the capture was made at another place than the one that the roster describes.

## How to be sure
Compare the EUI of the datagrams with each on the roster. If a typing error
makes one of the other, see gateway-registered-under-another-eui. If nothing
does, only the place can show: which gateway is it?

Acknowledgements do not speak for the gateway. In the UDP protocol there is no
login, and a server may acknowledge datagrams of a gateway that it does not
know. If the roster's gateway speaks as well, the other one is a neighbour's
and nobody's fault.

## What to do
1. Read the EUI off the gateway's running configuration.
2. Register it at the server, and put it on the roster.
3. Or capture at the gateway that is registered.

## Example
The capture holds 40 datagrams of 02-00-00-FF-FE-55-68-E8. On the roster is
02-00-00-FF-FE-0F-CF-D4, which stood here until it was replaced in spring.

## Source
The gateway packet-forwarder protocol, sections 3 to 6 (no login).
";
