//! Cause `adr-command-with-adr-off`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, fact},
    ladder::{
        finding::Finding,
        session::{self, Case, Story, refusals},
    },
    trace::settings::Exchange,
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::AdrCommandWithAdrOff,
    what: "LinkADRReq goes to a node with ADR off, which refuses data rate and power",
    places: &[Place::Session(session::Rung::Settled)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

fn check(_: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let all = refusals::of(story, "LinkADRReq");
    let own: Vec<&Exchange> = all
        .into_iter()
        .filter(|exchange| {
            refusals::refuses(exchange, "DataRateACK") || refusals::refuses(exchange, "PowerACK")
        })
        .collect();
    if own.len() < refusals::AGAIN || !refusals::is_without_adr(story, &own) {
        return None;
    }
    let mut finding = refusals::finding(
        story,
        &own,
        fact!(
            "the node's ADR bit is 0, and it refuses data rate and power of LinkADRReq {times} times: \
             both are its own choice then",
            times = own.len()
        ),
        "switch ADR off on the server for this node, or on in the node",
    )?;
    finding.certainty = Certainty::Likely;
    Some(finding)
}

const PAGE: &str = r"# adr-command-with-adr-off
The server tries to set data rate and power of a node that has ADR switched
off.

## What is seen
At the server: ADR never settles; every uplink is followed by a downlink. At
the node: ADR bit 0 in its uplinks, LinkADRAns in every frame. Data does
arrive.

## Why it happens
A node with ADR 0 chooses data rate and power itself, for example because it
moves. It takes channel mask and NbTrans from LinkADRReq, and may refuse the
rest. A server that does not look at the bit goes on asking.

## How to be sure
FCtrl bit 7 is 0 in the uplinks. LinkADRAns: bit 0 (mask) is 1, bits 1 and 2
(data rate, power) are 0. The same request, the same refusal, three times:
likely, since data rate or power may be wrong in themselves.

A LinkADRReq for mask or NbTrans alone is all right. If the ADR bit is 1,
see data-rate-refused and power-refused.

## What to do
1. Switch ADR off on the server for this node.
2. Or switch ADR on in the node, if it does not move.

## Example
AS923, probe-24: ADR 0. LinkADRReq DR5, TXPower 2, mask 007F. Answer 01,
five times.

## Source
LoRaWAN 1.0.4, p. 16 (ADR bit), p. 31 (LinkADRReq; what ADR 0 allows is
from memory).
";
