//! Cause `router-config-missing`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        gateway::{Case, Rung, uplink_acknowledged::LEAST_VERSIONS},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::RouterConfigMissing,
    what: "the server never sets up the station",
    places: &[Place::Gateway(Rung::UplinkAcknowledged)],
    kind: Kind::Exact,
    checks: &[Check::Gateway(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let heard = case.heard.filter(|_| case.is_station())?;
    let (versions, first) = heard.connections.unconfigured;
    if versions < LEAST_VERSIONS {
        return None;
    }
    let mut finding = Finding::new(
        Certainty::Likely,
        fact!(
            "{gateway} says its version {times}, and the server sends no router_config",
            gateway = case.title(),
            times = Value::Count(versions, "time")
        ),
        "check the gateway's record at the server: region and channel plan must be set before the server can set up \
         the gateway",
    );
    if let Some(first) = first {
        finding.add(fact!("{first}: the first of them", first));
    }
    match heard.connections.configs.1 {
        Some(last) => finding.add(fact!("{last}: the last router_config", last)),
        None => finding.add("no router_config is in the capture; its sender's side may be missing"),
    }
    Some(finding)
}

const PAGE: &str = r"# router-config-missing
The gateway connects by the station protocol and says its version, and the
server does not set it up.

## What is seen
At the gateway: `version` again and again, no `router_config`, no radio. At
the server: a connection that comes and goes. At the nodes: no answer: the
radio has no channels.

## Why it happens
The record of the gateway at the server has no region or no channel plan, or
one that this server does not know. Or the server found something in the
version that it does not take.

## How to be sure
Three `version` messages or more without a `router_config` after the first.
The capture must hold the server's messages as well: if it holds none at all,
the server's side may be missing, and nothing is sure.

## What to do
1. Set region and channel plan of the gateway at the server.
2. Read the server's log at that second.
3. Capture both directions at the gateway.

## Example
The gateway connects every 20 s and says its version. Its record was made
without a region. With one it is set up at the next attempt.

## Source
The station protocol, `version`, `router_config`.
";
