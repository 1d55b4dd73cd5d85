//! Cause `node-transmits-in-another-region`.

use super::{Cause, CauseId, Check, Kind, Place};
use std::collections::BTreeSet;

use crate::{
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        join::{
            self, Case,
            on_plan::{heard_at, heard_fact},
        },
    },
    region::{JoinFit, Plan, plans_joining_at},
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::NodeTransmitsInAnotherRegion,
    what: "the node's frequencies belong to another region's plan",
    places: &[Place::Join(join::Rung::OnPlan)],
    kind: Kind::Exact,
    checks: &[Check::Join(check)],
    page: PAGE,
};

/// Requests that are quoted.
const QUOTED: usize = 4;

fn check(case: &Case<'_>) -> Option<Finding> {
    let plan = case.plan?;
    let strays: Vec<_> = heard_at(case)
        .filter(|(_, hz, m)| {
            matches!(plan.join_fit(*hz, *m), JoinFit::OutOfBand | JoinFit::OffGrid { .. })
        })
        .collect();
    let (_, hz, modulation) = *strays.first()?;
    let mut fitting: Vec<&Plan> = plans_joining_at(hz, modulation);
    fitting.retain(|other| {
        other.name != plan.name && strays.iter().all(|(_, hz, m)| other.join_fit(*hz, *m).is_fit())
    });
    if fitting.is_empty() {
        return None;
    }
    let frequencies: BTreeSet<u32> = strays.iter().map(|(_, hz, _)| *hz).collect();
    let certainty = if frequencies.len() > 1 { Certainty::Certain } else { Certainty::Likely };
    let mut finding = Finding::new(
        certainty,
        fact!(
            "the node sends on {frequencies}: join channels of {node_region}, not of {region}, \
             which record and gateway follow",
            frequencies = Value::list(frequencies.into_iter().map(Value::Frequency)),
            node_region = Value::List(fitting.iter().map(|p| p.name.into()).collect(), " or "),
            region = plan.name
        ),
        fact!(
            "set the same region on node, record and gateway; check that the node's radio may be \
             used here at all (local rules decide). The record says {region}",
            region = plan.name
        ),
    );
    for (attempt, hz, modulation) in strays.iter().take(QUOTED) {
        finding.add(heard_fact(attempt, *hz, *modulation));
    }
    Some(finding)
}

const PAGE: &str = r#"# node-transmits-in-another-region
The frequencies heard from the node belong to another region's grid than the
record's or the gateway's.

## What is seen
At the gateway: Join-Requests on a few frequencies only, off the site's plan
or on an unexpected part of it. At the server: a message about an unknown
channel or data rate, or silence. At the node: a window opened at a
frequency where nothing is sent.

## Why it happens
The firmware was built for another region, or the region setting was lost
and a default took its place. Bands overlap: AU915 uplinks (915.2
to 927.8 MHz), AS923 and KR920 share spectrum, so a gateway of one can hear
a node of another.

## How to be sure
For each region count how many frequencies heard lie on its join channels,
with the offset in Hz. A region that explains all, where the site's explains
some, is the node's. Compare spreading factor and bandwidth: DR numbers
differ by region.

Look-alikes: an offset below 1 kHz is reporting
(gateway-reports-an-inexact-frequency); 1.8, 5.9 or 6.6 MHz between node and
server is another AS923 group; another sub-band is no other region. One
frequency may fit two regions: 923.2 MHz at SF10 is a join channel of AS923
group 1 and channel 40 of AU915. Several requests tell them apart.

## What to do
1. Read the region out of the node's running configuration, not out of its
   source.
2. Set the region in which the node stands, on node, gateway and server
   alike, with the same revision and group.
3. Remove stored channel lists of the old region.
4. Do not change the gateway to suit the node: the place decides which band
   is allowed. Stop the node until its region is right.

## Example
The orchard is in an AU915 area and the gateway listens to sub-band 6 (923.2
to 924.6 MHz). Probe-05 is heard eight times: five at 923.2, three at
923.4 MHz, at SF7 to SF10. AU915 allows a Join-Request on a 125 kHz channel
at SF10 only, and a node that hops over the sub-band would also use the
other six channels; eight tries hit just these two by chance with odds of
(2/8)^8, about 1.5e-5. Both are the join channels of AS923 group 1: the
firmware is a build for AS923.

## Source
RP002-1.0.1, 2.8 (AU915), 2.10 (AS923), 2.11 (KR920).
"#;
