//! Cause `server-refuses-the-gateway`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        gateway::{Case, Rung, identity::Known},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::ServerRefusesTheGateway,
    what: "the server answers the gateway's discovery with an error",
    places: &[Place::Gateway(Rung::Known)],
    kind: Kind::Exact,
    checks: &[Check::Gateway(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let (Known::Refused, Some(heard)) = (&case.known, case.heard) else { return None };
    let refused = heard.connections.refused.as_ref()?;
    let mut finding = Finding::new(
        Certainty::Certain,
        fact!(
            "the server refuses {gateway}: {reason}",
            gateway = case.title(),
            reason = refused.reason.clone()
        ),
        "register this EUI at the server; check that it is the server that has the record",
    );
    finding.add(fact!(
        "{times} refused, from {first} to {last}; no address (uri) was given",
        times = Value::Count(refused.times, "discovery message"),
        first = refused.span.0,
        last = refused.span.1
    ));
    Some(finding)
}

const PAGE: &str = r#"# server-refuses-the-gateway
The gateway asks the server for its address by the station protocol, and the
server answers with an error.

## What is seen
At the gateway: discovery fails again and again. At the server: nothing, or a
line about an unknown router. At the nodes: no answer at all.

## Why it happens
The EUI is not registered at this server, or is registered in another account
or cluster. A gateway may also be registered and blocked.

## How to be sure
The answer to discovery has `error` and no `uri`. That the server refuses is
certain then; the reason is in its words. If an EUI on the roster is a typing
error away from the one that is sent, see
gateway-registered-under-another-eui: that is the more exact cause.

## What to do
1. Look up the EUI at the server, in the account and the cluster whose address
   the gateway has.
2. Register it there, or set the gateway to the server that has it.
3. Read the server's log at that second.

## Example
The gateway asks four times in a minute. Each answer says "router not
registered". It had been registered at the test server.

## Source
The station protocol, discovery (`router`, `uri`, `error`).
"#;
