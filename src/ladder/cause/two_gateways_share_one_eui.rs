//! Cause `two-gateways-share-one-eui`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        gateway::{Case, Rung, identity::Known},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::TwoGatewaysShareOneEui,
    what: "two gateways send under one EUI",
    places: &[Place::Gateway(Rung::Known)],
    kind: Kind::Exact,
    checks: &[Check::Gateway(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let (Known::Shared, Some(heard)) = (&case.known, case.heard) else { return None };
    let mut finding = Finding::new(
        Certainty::Certain,
        fact!(
            "two radios send as {gateway}: frames change {times} from one counter to another and back",
            gateway = case.title(),
            times = Value::Count(heard.radios.returns, "time")
        ),
        "give each gateway its own EUI; look for an image that was copied from one card to another",
    );
    for radio in &heard.radios.all {
        finding.add(fact!(
            "{frames} on one counter, from {first} to {last}",
            frames = Value::Count(radio.frames, "frame"),
            first = radio.span.0,
            last = radio.span.1
        ));
    }
    for (before, after) in heard.radios.changes.iter().take(MOST_TOLD) {
        finding.add(fact!(
            "{before} is on one, {after} on the other",
            before = *before,
            after = *after
        ));
    }
    Some(finding)
}

/// Changes that are named.
const MOST_TOLD: usize = 3;

const PAGE: &str = r"# two-gateways-share-one-eui
Two gateways send under one EUI. The server takes them for one.

## What is seen
At the server: the gateway jumps between two places, and some downlinks are
never sent. In the capture: receptions whose counters belong to two clocks, in
turns; statistics in two series; in a recording of packets two source
addresses.

## Why it happens
An image with its EUI was copied from one card to another. Or the EUI is a
default that the maker gave to every gateway.

## How to be sure
Take arrival time less `tmst` of each reception. One radio gives one line that
hardly moves. Two radios give two lines, and the receptions change between
them again and again. Three such changes leave no doubt.

A restart is one change, and the new line starts near zero; the old one never
comes back. A wrap of the counter is every 71 min 35 s and changes nothing
modulo 2^32. A gateway with a new address keeps its line.

## What to do
1. Give each gateway its own EUI, and register both.
2. Look at further gateways that were made from the same image.
3. Until then switch one of them off: downlinks go to whichever asked last.

## Example
Under 02-00-00-FF-FE-FC-28-D4 the receptions of one line are 1700 s away from
those of the other, and they alternate 31 times in 20 minutes. The spare
gateway in the barn had been started with a copy of the card.

## Source
The gateway packet-forwarder protocol, `tmst`; counters of radios: common
practice.
";
