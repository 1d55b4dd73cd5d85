//! Cause `one-gateway-under-two-euis`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        gateway::{Case, Rung, identity::Known},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::OneGatewayUnderTwoEuis,
    what: "two forwarders report one radio, each under its own EUI",
    places: &[Place::Gateway(Rung::Known)],
    kind: Kind::Exact,
    checks: &[Check::Gateway(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let Known::Twins(other, alike) = &case.known else { return None };
    let mut finding = Finding::new(
        Certainty::Certain,
        fact!(
            "{gateway} and gateway {other} are one radio: they report {receptions} with the same counter, signal \
             and channel",
            gateway = case.title(),
            other = *other,
            receptions = Value::Count(alike.len() as u64, "reception")
        ),
        "stop the second forwarder on that gateway: the server counts each reception twice, and two programs take \
         turns with one radio's downlinks",
    );
    // A counter of 32 bits agrees by chance once in 2^32.
    let frames = i32::try_from(alike.len()).unwrap_or(i32::MAX).min(32);
    finding.false_match = Some((-32.0 * f64::from(frames)).exp2());
    for (own, same) in alike.iter().take(MOST_TOLD) {
        finding.add(fact!("{own} and {same}: one reception", own = *own, same = *same));
    }
    Some(finding)
}

/// Receptions that are named.
const MOST_TOLD: usize = 4;

const PAGE: &str = r#"# one-gateway-under-two-euis
One radio is reported by two forwarders, each under an EUI of its own.

## What is seen
At the server: two gateways at one place that hear exactly the same, with the
same signal. Downlinks are refused now and then as colliding or late. In the
capture: each reception twice, under two EUIs.

## Why it happens
Two forwarders were installed and both run: an older one that was never
removed, or one that a network's set-up put next to the one that was there.
They share the radio or a daemon in front of it.

## How to be sure
Compare receptions with the same bytes. Two radios never agree in `tmst`,
RSSI, SNR and channel together: their counters started at different moments.
Three receptions that agree in all are one radio.

Two gateways that hear the same node are not this: counter and signal differ.
One forwarder with two servers is not this: it has one EUI.

## What to do
1. Stop the forwarder that is not needed, and keep it from starting again.
2. If two servers are needed, let one forwarder serve both.
3. Remove the other EUI from the server and from the roster.

## Example
North shed and "north shed old" report 20 frames with equal counters. The old
forwarder was still started at boot.

## Source
The gateway packet-forwarder protocol, `tmst`, `rssi`, `lsnr`. A counter of 32
bits agrees by chance once in 2^32.
"#;
