//! Cause `node-transmits-in-another-region`.

use std::collections::BTreeSet;

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Fact, Value, fact},
    ladder::{
        finding::Finding,
        join::{
            self, Case,
            on_plan::{Foreign, States, heard_at, heard_fact},
        },
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::NodeTransmitsInAnotherRegion,
    what: "the node's frequencies belong to another region's plan",
    places: &[Place::Join(join::Rung::OnPlan)],
    kind: Kind::Exact,
    checks: &[Check::Join(check), Check::Join(join::told::console::another_region)],
    page: PAGE,
};

/// Requests that are quoted.
const QUOTED: usize = 4;

fn check(case: &Case<'_>) -> Option<Finding> {
    let plan = case.plan?;
    let foreign = Foreign::of(case)?;
    let sides = Sides::of(case, &foreign);
    let frequencies: BTreeSet<u32> = foreign.requests.iter().map(|(_, hz, _)| *hz).collect();
    let certainty = if frequencies.len() > 1 { Certainty::Certain } else { Certainty::Likely };
    let node_region: Vec<Value> = foreign.plans.iter().map(|plan| plan.name.into()).collect();
    let node_region = Value::List(node_region, " or ");
    let mut finding = Finding::new(
        certainty,
        fact!(
            "the node sends on {frequencies}: join channels of {node_region}, not of {region}{odd}",
            frequencies = Value::list(frequencies.into_iter().map(Value::Frequency)),
            node_region = node_region.clone(),
            region = plan.name,
            odd = sides.odd()
        ),
        sides.remedy(plan.name, node_region),
    );
    for said in sides.said {
        finding.add(said);
    }
    for (attempt, hz, data_rate) in foreign.requests.iter().take(QUOTED) {
        finding.add(heard_fact(attempt, *hz, *data_rate));
    }
    Some(finding)
}

/// What the server's side and the gateways' side say of the region; the node's side is what it sends.
struct Sides {
    server: Option<States>,
    /// Whose word the server's is.
    server_name: &'static str,
    gateways: Option<States>,
    /// Each statement.
    said: Vec<Fact>,
}

impl Sides {
    fn of(case: &Case<'_>, foreign: &Foreign<'_>) -> Self {
        let mut said = Vec::new();
        if let Some(region) = case.firmware().and_then(|claim| claim.region) {
            let firmware_region = region.name;
            said.push(if foreign.plans.contains(&region) {
                fact!("the firmware states {firmware_region}", firmware_region)
            } else {
                fact!(
                    "the firmware is said to have {firmware_region}: what the node sends says \
                     otherwise",
                    firmware_region
                )
            });
        }
        let record = case.record().and_then(|claim| claim.region);
        if let Some(region) = record {
            said.push(fact!("the record states {record_region}", record_region = region.name));
        }
        // That it answered requests of this plan says the same as a record of it.
        let plan = case.plan;
        let fits = |hz, m| plan.is_some_and(|plan| plan.join_fit(hz, m).is_fit());
        let answered =
            heard_at(case).find(|(attempt, hz, m)| !attempt.answers.is_empty() && fits(*hz, *m));
        if let (Some((attempt, hz, _)), Some(plan)) = (answered, plan) {
            said.push(fact!(
                "the server answered {request}, on {frequency} of {region}",
                request = attempt,
                frequency = Value::Frequency(hz),
                region = plan.name
            ));
        }
        let server = foreign.states(case, record).or(answered.map(|_| States::Own));
        let mut gateways = BTreeSet::new();
        for (gateway, region) in foreign.gateways(case) {
            let listens = case.listens(Some(gateway));
            let heard = || foreign.requests.iter().map(|(_, hz, _)| *hz);
            match region {
                Some(region) => said.push(fact!(
                    "gateway {gateway}, which heard it, has {gateway_region}",
                    gateway,
                    gateway_region = region.name
                )),
                None => said.push(fact!("gateway {gateway} heard it", gateway)),
            }
            if !listens.is_empty() && heard().all(|hz| !listens.contains(&hz)) {
                said.push(fact!(
                    "gateway {gateway} is said to listen to {listens} alone: it is set otherwise",
                    gateway,
                    listens = Value::list(listens.into_iter().map(Value::Frequency))
                ));
            }
            gateways.extend(foreign.states(case, region).map(|states| match states {
                States::Own => 0,
                States::Foreign => 1,
                States::Third => 2,
            }));
        }
        // Gateways that disagree speak for nobody.
        let gateways = match gateways.into_iter().collect::<Vec<_>>().as_slice() {
            [0] => Some(States::Own),
            [1] => Some(States::Foreign),
            _ => None,
        };
        let server_name = if record.is_some() { "the record" } else { "the server" };
        Self { server, server_name, gateways, said }
    }

    /// Who has the region by which the node is judged, and which side stands alone.
    fn odd(&self) -> Fact {
        let server = self.server_name;
        match (self.server, self.gateways) {
            (Some(States::Own), Some(States::Own)) => {
                fact!(", which {server} and the gateway have: the node is the odd one out", server)
            }
            (Some(States::Own), Some(States::Foreign)) => fact!(
                ", which {server} has; the gateway has the node's: {server} is the odd one out",
                server
            ),
            (Some(States::Own), _) => fact!(", which {server} has", server),
            (_, Some(States::Own)) => ", which the gateway has".into(),
            (_, Some(States::Foreign)) => ", which is stated; the gateway has the node's".into(),
            _ => ", which is stated".into(),
        }
    }

    fn remedy(&self, region: &'static str, node_region: Value) -> Fact {
        let server = self.server_name;
        match (self.server, self.gateways) {
            (Some(States::Own), Some(States::Own)) => fact!(
                "set the node to {region}, as {server} and the gateway have it; if it is to work by \
                 {node_region}, local rules must allow it, and record and gateway must follow",
                region,
                server,
                node_region
            ),
            (_, Some(States::Foreign)) => fact!(
                "set {server} to {node_region}, as node and gateway have it; check that the node's \
                 radio may be used here at all (local rules decide)",
                server,
                node_region
            ),
            _ => fact!(
                "set the same region on node, record and gateway, {region} or {node_region}; check \
                 that the node's radio may be used here at all (local rules decide)",
                region,
                node_region
            ),
        }
    }
}

const PAGE: &str = r"# node-transmits-in-another-region
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
to 924.6 MHz). Probe-05 is heard eight times: five at 923.2, three at 923.4
MHz, at SF7 to SF10. AU915 allows a Join-Request on a 125 kHz channel at SF10
only, and a node that hops over the sub-band would also use the other six
channels; eight tries hit just these two by chance with a probability of
(2/8)^8, about 1.5e-5. Both are the join channels of AS923 group 1: the
firmware is a build for AS923.

## Source
RP002-1.0.1, 2.8 (AU915), 2.10 (AS923), 2.11 (KR920).
";
