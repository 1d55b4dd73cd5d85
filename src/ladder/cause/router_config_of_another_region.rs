//! Cause `router-config-of-another-region`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::ladder::{
    finding::Finding,
    gateway::{
        Case, Rung,
        listening::{Evidence, Listens},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::RouterConfigOfAnotherRegion,
    what: "the server sets up the gateway for another region",
    places: &[Place::Gateway(Rung::OnPlan)],
    kind: Kind::Exact,
    checks: &[Check::Gateway(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let Listens::Elsewhere(elsewhere) = &case.listens else { return None };
    let lead = elsewhere.fits.first()?;
    if elsewhere.evidence != Evidence::Setting || lead.plan.name == elsewhere.stated.name {
        return None;
    }
    Some(elsewhere.finding(
        case.title(),
        "correct region and channel plan in the gateway's record at the server, or the roster",
    ))
}

const PAGE: &str = r"# router-config-of-another-region
The server sets up the gateway with the channels of another region than the
roster states.

## What is seen
In `router_config`: `region`, `upchannels` and `freq_range` of another plan.
At the gateway: it hears no node of its site. At the nodes: no answer.

## Why it happens
The gateway's record at the server has another region or another channel plan:
it was chosen when the gateway was registered, and never again.

## How to be sure
No channel of `upchannels` is one of the roster's plan. Older names for the
same plan are not a difference: EU863 is EU868, US902 is US915.

## What to do
1. Set region and channel plan in the gateway's record at the server.
2. Let the gateway connect again, and look at the new `router_config`.
3. Correct the roster where that is wrong.

## Example
The roster says EU868. `router_config` says US902 with channels from 903.9 to
905.3 MHz. The record was copied from a gateway of another country.

## Source
The station protocol, `router_config`; RP002-1.0.4 (channel plans).
";
