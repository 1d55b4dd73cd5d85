//! Cause `rx-parameters-out-of-range`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Fact, fact},
    ladder::{
        finding::Finding,
        join::{
            self, Case,
            acceptable::{MOST_TOLD, opened_and_refused, terms::rx_faults},
        },
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::RxParametersOutOfRange,
    what: "DLSettings or RxDelay are not allowed in the region",
    places: &[Place::Join(join::Rung::Acceptable)],
    kind: Kind::Exact,
    checks: &[Check::Join(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let wrong: Vec<_> = opened_and_refused(case)
        .into_iter()
        .map(|(_, answer, opening)| (answer, rx_faults(case, &opening.opened.accept)))
        .filter(|(_, faults)| !faults.is_empty())
        .collect();
    let (_, faults) = wrong.first()?;
    let region = case.plan?.name;
    let mut finding = Finding::new(
        Certainty::Certain,
        fact!(
            "the accept's receive parameters are not valid in {region}: {faults}",
            region,
            faults = Fact::joined(faults.clone(), "; ")
        ),
        fact!("correct the server's RX parameters for {region}", region),
    );
    for (answer, faults) in wrong.iter().take(MOST_TOLD) {
        finding.add(fact!(
            "{accept}: {faults}",
            accept = &answer.sending,
            faults = Fact::joined(faults.clone(), "; ")
        ));
    }
    Some(finding)
}

const PAGE: &str = r"# rx-parameters-out-of-range
DLSettings or RxDelay in the accept has a value that the region does not
allow.

## What is seen
At the node: the accept is dropped, or taken and the data windows go wrong.
At the server: accept sent, later downlinks unanswered. At the gateway: all
in order.

## Why it happens
The profile of one region was used in another, or a number was put into the
wrong bits. DLSettings is OptNeg or RFU (bit 7), RX1DROffset (6..4),
RX2DataRate (3..0). RxDelay uses bits 3..0 only; 0 means 1 s.

## How to be sure
Decode and compare with the region: RX1DROffset 0 to 5 in EU868, 0 to 3 in
US915, 0 to 5 in AU915, 0 to 7 in AS923; RX2DataRate must be a downlink data
rate: in US915 and AU915 8 to 13 (RP002-1.0.5 adds 0 and 14), in EU868 0
to 7 and what the revision adds. RxDelay bits 7..4 must be 0.

That the value is not allowed is certain once the accept authenticates. How
the node acts is not: some drop the accept, some take the part they know. For
1.0.x bit 7 set is an RFU bit: a 1.1-capable node reads it as OptNeg and
changes its rules. Different revisions know different rates; name the one you
checked.

## What to do
1. Correct region and RX parameters in the device profile.
2. Use RX1DROffset 0 and the region's default RX2 rate to begin with.
3. Join again: the values last for the session.

## Example
US915, 1.0.3. Accept for probe-07: DLSettings 00, RxDelay 01. RX2DataRate 0
is not a downlink rate there; the European profile is behind it. The
default is 8: DLSettings 08.

## Source
LoRaWAN 1.0.4, p. 47; 1.1, 6.2.3; RP002-1.0.1, Tables 11 (EU868), 18
(US915), 39 (AU915), 66 (AS923).
";
