//! Cause `gateway-set-to-another-sub-band`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::ladder::{
    finding::Finding,
    gateway::{Case, Rung, listening::Listens, misconfigured},
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::GatewaySetToAnotherSubBand,
    what: "the gateway listens to another sub-band than stated",
    places: &[Place::Gateway(Rung::OnPlan)],
    kind: Kind::Exact,
    checks: &[Check::Gateway(check), Check::Gateway(misconfigured::another_sub_band)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let Listens::Elsewhere(elsewhere) = &case.listens else { return None };
    let lead = elsewhere.fits.first()?;
    if lead.plan.name != elsewhere.stated.name {
        return None;
    }
    Some(elsewhere.finding(
        case.title(),
        "set gateway, nodes and roster to one sub-band; which side is wrong the capture does not say",
    ))
}

const PAGE: &str = r"# gateway-set-to-another-sub-band
What the gateway hears is on channels of another sub-band of its plan than the
roster states.

## What is seen
At the gateway: receptions on eight channels of another sub-band. At the
server: frames of other people's nodes, hardly one of ours. At our nodes: a
join now and then, by chance, or none.

## Why it happens
In plans with 64 channels and more a gateway of eight channels listens to one
sub-band. It has the configuration of another one: the default of its maker,
or that of another network.

## How to be sure
Ten frames or more of five nodes or more, all on channels of one other
sub-band and none on one of the stated. Thirty leave no doubt. By
router_config, or by the gateway's own configuration, it is certain.

If one node alone is on another sub-band, it is the node
(node-hops-outside-the-gateway-sub-band).

## What to do
1. Set the gateway to the sub-band of its network, or correct the roster.
2. Set the nodes to the same sub-band: a mask, or the join's CFList.

## Example
The roster says US915 sub-band 2. 44 frames of as many nodes lie between 902.3
and 903.7 MHz: sub-band 1, as the maker delivers it.

## Source
RP002-1.0.4, 2.5 and 2.8 (channel plans with 64 channels of 125 kHz).
";
