//! Cause `gateway-set-to-another-region`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::ladder::{
    finding::Finding,
    gateway::{
        Case, Rung,
        listening::{Evidence, Listens},
        misconfigured,
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::GatewaySetToAnotherRegion,
    what: "the gateway listens to the channels of another region",
    places: &[Place::Gateway(Rung::OnPlan)],
    kind: Kind::Exact,
    checks: &[Check::Gateway(check), Check::Gateway(misconfigured::another_region)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let Listens::Elsewhere(elsewhere) = &case.listens else { return None };
    let lead = elsewhere.fits.first()?;
    if elsewhere.evidence == Evidence::Setting || lead.plan.name == elsewhere.stated.name {
        return None;
    }
    Some(elsewhere.finding(
        case.title(),
        "set gateway, record and roster to one region; which side is wrong the capture does not say",
    ))
}

const PAGE: &str = r"# gateway-set-to-another-region
What the gateway hears is on channels of another channel plan than the roster
states.

## What is seen
At the gateway: receptions on frequencies of another region. At the server:
frames on unknown channels, or none. At the nodes of the right region: nothing
is heard of them, and no answer comes.

## Why it happens
The gateway has the configuration of another region: the file that it was
delivered with, or that of another site. Or the roster and the record are
wrong, and the gateway is right.

## How to be sure
Ten frames or more of five nodes or more, all on channels of one other plan
and none on one of the roster's plan. One node on another plan is that node's
fault (node-transmits-in-another-region).

923.2 and 923.4 MHz are the join channels of AS923-1 and channels of AU915,
sub-band 6, as well: then neither is certain.

From the gateway's own configuration: each channel is the freq of a radio plus
the if of a chain. None is a channel of the roster's plan, and all are
channels of another: that is certain, but where both plans share the band and
the network may have added channels (AS923 and AU915): then both are named.

Which side is wrong the capture does not say. Local rules decide which plan is
allowed at all.

## What to do
1. Compare the gateway's radios and channels with the plan of its site.
2. Give it the configuration of its region, or correct record and roster.
3. Set the nodes, the record and the gateway to one region.

## Example
The roster says US915 sub-band 2. 40 frames of as many nodes lie between 867.1
and 868.5 MHz: EU868.

## Source
RP002-1.0.4 (channel plans).
";
