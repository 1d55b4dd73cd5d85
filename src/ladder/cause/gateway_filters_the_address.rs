//! Cause `gateway-filters-the-address`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, fact},
    id::NetId,
    ladder::{
        finding::Finding,
        join::{
            Case, Rung,
            proven::away::{data_filter, is_unseen},
        },
    },
    trace::Origin,
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::GatewayFiltersTheAddress,
    what: "the gateway is set to drop data of the address given",
    places: &[Place::Join(Rung::Proven)],
    kind: Kind::Exact,
    checks: &[Check::Join(check)],
    page: PAGE,
};

/// NetIDs of one gateway's setting that are told.
const MOST_TOLD: usize = 4;

fn check(case: &Case<'_>) -> Option<Finding> {
    let climbed = |i: &usize| {
        let ladder = case.ladders.get(*i);
        ladder.is_some_and(|l| l.first_broken().is_none_or(|rung| rung == Rung::Proven))
    };
    let index = (0..case.node.attempts.len()).rev().find(|i| is_unseen(case, *i) && climbed(i))?;
    let mut finding = Finding::new(
        Certainty::Certain,
        data_filter(case, index)?,
        "add the network to NetID of the router_config that the server gives the gateway, or set the \
         server to give addresses of a network that is there",
    );
    let session = case
        .node
        .sessions
        .iter()
        .find(|s| matches!(s.origin, Origin::Accept { attempt, .. } if attempt == index));
    if let Some(session) = session {
        finding.add(fact!(
            "DevAddr {dev_addr}: the seven first bits are {first_bits}",
            dev_addr = session.dev_addr,
            first_bits = session.dev_addr.0 >> 25
        ));
    }
    for plan in case.trace.gateways.values().filter_map(|gateway| gateway.plan.as_deref()) {
        for id in plan.net_ids.iter().flatten().take(MOST_TOLD) {
            let Some(net_id) = NetId::new(*id) else { continue };
            finding.add(fact!(
                "passed on: NetID {net_id}, the seven first bits {first_bits}",
                net_id,
                first_bits = id & 0x3F
            ));
        }
    }
    Some(finding)
}

const PAGE: &str = r"# gateway-filters-the-address
The gateway is set to pass on data of some networks alone, and the address
that the accept gives is of none of them.

## What is seen
At the node: joined; it sends and gets nothing back. At the gateway: the
request was passed on, the data is not. At the server: a session without
uplinks; after some time the node joins again, and again falls silent.

## Why it happens
A server that speaks the websocket station protocol can give its gateways a
list of networks (`NetID` in `router_config`). The gateway then compares the
seven first bits of each DevAddr. The server that takes the join gives an
address of another network: its own NetID is missing in the list, or
addresses are taken from another network's range.

## How to be sure
Open the accept and take DevAddr / 2^25: that are the seven first bits. For
a network of type 0 they are NwkID, the six low bits of its NetID. If no
entry of the list has them, the data of this address is dropped, and the
cause is certain as long as that setting was in force. Entries of other
types are compared by their prefix, which is that of many networks.

Silence after a join has other causes as well (the CFList, a deaf node): they
are not excluded, but none of them could be seen while this filter holds.

## What to do
1. Put the server's NetID into the list, or leave the list out (`null`).
2. Or have the server give addresses of a network in the list.
3. Connect the gateway again, so that it gets the new setting; let the node
   join again.

## Example
`NetID` is [1]: DevAddr 02000000 to 03FFFFFF pass. The orchard's server
gives probe-11 the address 04017A3C, which is NwkID 2. The accept is taken,
and not one frame of data arrives.

## Source
The station protocol, `router_config`, `NetID`; the station's own source, as
the gateway reference cites it; LoRaWAN Backend Interfaces, DevAddr prefixes.
";
