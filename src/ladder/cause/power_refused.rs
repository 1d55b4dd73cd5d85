//! Cause `power-refused`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::fact,
    ladder::{
        finding::Finding,
        session::{self, Case, Story, refusals},
    },
    trace::settings::Exchange,
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::PowerRefused,
    what: "the node refuses the power of the same LinkADRReq again and again",
    places: &[Place::Session(session::Rung::Settled)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

fn check(_: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let all = refusals::of(story, "LinkADRReq");
    let own: Vec<&Exchange> =
        all.into_iter().filter(|exchange| refusals::refuses(exchange, "PowerACK")).collect();
    if own.len() < refusals::AGAIN || refusals::is_without_adr(story, &own) {
        return None;
    }
    let last = *own.last()?;
    let power = last.requests.last().and_then(|request| request.number("TXPower"))?;
    let mut finding = refusals::finding(
        story,
        &own,
        fact!(
            "the server asks for TXPower {power} again and again, and the node refuses it {times} times; \
             nothing of the request is carried out",
            power,
            times = own.len()
        ),
        "ask for a TXPower index that the plan has; 15 means keep only since LoRaWAN 1.0.4",
    )?;
    if let Some(plan) = story.plan {
        finding.add(fact!(
            "{region} has TXPower 0 to {highest}; 15 is reserved before LoRaWAN 1.0.4",
            region = plan.name,
            highest = plan.power.max_index
        ));
    }
    Some(finding)
}

const PAGE: &str = r#"# power-refused
The server asks for a transmit power in each LinkADRReq that the node does
not have, and the node refuses each time.

## What is seen
At the server: ADR never settles; every uplink is followed by a downlink. At
the node: LinkADRAns in every frame. Data does arrive.

## Why it happens
TXPower counts steps down from the region's maximum. An index above the
plan's highest is reserved. 15 means "keep" since LoRaWAN 1.0.4; before that
it is reserved like the others. One refused part voids the complete command.

## How to be sure
Pair LinkADRReq and LinkADRAns. Status bit 2 is 0 (03, or 01 and 02 with
others). The same request, the same refusal, three times, and not taken
since: certain.

Refused once or twice and then corrected is not a fault. A node with ADR off
refuses rate and power by right: adr-command-with-adr-off. Plans had fewer
steps in older revisions.

## What to do
1. Ask for an index that the plan and the node's version have.
2. For "as it is" repeat the last index, if the node is older than 1.0.4.
3. Let the server stop after some refusals.

## Example
AU915, node of LoRaWAN 1.0.2. LinkADRReq 3F ...: DR3, TXPower 15. Answer
03, five times. With 30 it is taken.

## Source
LoRaWAN 1.0.4, p. 31; 1.0.3, p. 25; RP002-1.0.4, power table of the plan.
"#;
