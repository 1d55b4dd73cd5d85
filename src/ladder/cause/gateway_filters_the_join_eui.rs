//! Cause `gateway-filters-the-join-eui`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, fact},
    ladder::{
        finding::Finding,
        join::{self, Case, heard::join_filter},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::GatewayFiltersTheJoinEui,
    what: "the gateway is set to drop requests of this JoinEUI",
    places: &[Place::Join(join::Rung::Heard)],
    kind: Kind::Exact,
    checks: &[Check::Join(check)],
    page: PAGE,
};

/// Ranges of one gateway that are quoted.
const QUOTED: usize = 4;

/// Nothing came through, and by the gateways' own setting nothing could.
fn check(case: &Case<'_>) -> Option<Finding> {
    if !case.node.attempts.is_empty() || case.is_abp() {
        return None;
    }
    let mut finding = Finding::new(
        Certainty::Certain,
        join_filter(case)?,
        "add the node's JoinEUI to the ranges that the server gives the gateway (JoinEui of \
         router_config), or correct the JoinEUI in the node",
    );
    if let Some(join_eui) = case.node.join_eui {
        finding.add(fact!("the node's JoinEUI: {join_eui}", join_eui));
    }
    for plan in case.trace.gateways.values().filter_map(|gateway| gateway.plan.as_deref()) {
        for (from, to) in plan.join_euis.iter().flatten().take(QUOTED) {
            finding.add(fact!("passed on: {from} to {to}", from = *from, to = *to));
        }
    }
    Some(finding)
}

const PAGE: &str = r"# gateway-filters-the-join-eui
The gateway is set to pass on requests of some JoinEUIs alone, and the
node's is not among them.

## What is seen
At the node: every join attempt ends without an answer. At the gateway: it
is up, other nodes come through, and at its most talkative level its log
says that a request was filtered. At the server: nothing at all.

## Why it happens
A server that speaks the websocket station protocol can give its gateways
ranges of JoinEUIs (`JoinEui` in `router_config`), so that requests of
foreign nodes do not use up the line. A new batch of nodes has a JoinEUI
outside the ranges; or the JoinEUI in the node is wrong, or its bytes are
reversed.

## How to be sure
Take the last `router_config` before the attempts and compare the node's
JoinEUI, most significant byte first, with each pair: from <= JoinEUI <=
to. Outside of all of them the cause is certain as long as that setting was
in force; `null` or an empty list means that nothing is filtered.

It is not silence on the air: the concentrator received the request, and
only its software left it out. Frames of data are not touched by this
filter; for those see gateway-filters-the-address.

## What to do
1. Compare the JoinEUI in the node with the one on record.
2. If it is right, add it to the ranges that the server gives the gateway.
3. If it is wrong, correct it in the node.
4. Connect the gateway again, so that it gets the new setting, and repeat.

## Example
The orchard's gateway has one range, 02-00-00-FF-FE-0B-00-00 to
02-00-00-FF-FE-0B-00-FF. Probe-11 came with 02-00-00-FF-FE-0C-00-01. Its
requests end in the gateway. With a second range they arrive.

## Source
The station protocol, `router_config`, `JoinEui`; the station's own source,
as the gateway reference cites it.
";
