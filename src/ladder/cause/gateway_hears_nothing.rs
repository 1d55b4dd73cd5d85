//! Cause `gateway-hears-nothing`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Value, fact},
    ladder::{
        finding::Finding,
        gateway::{
            Case, Rung,
            hears::{Why, deaf},
        },
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::GatewayHearsNothing,
    what: "the gateway receives nothing, though somebody transmits",
    places: &[Place::Gateway(Rung::Hears)],
    kind: Kind::Exact,
    checks: &[Check::Gateway(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let deaf = deaf(case)?;
    let (first, last) = deaf.span;
    let time = Value::About(last.since(first).unwrap_or_default());
    let mut finding = Finding::new(
        deaf.certainty,
        fact!(
            "{gateway} receives nothing for {time}, from {first} to {last}",
            gateway = case.title(),
            time,
            first,
            last
        ),
        "check the antenna, its connector and cable, the radio's power, and that the gateway listens to the plan of \
         the nodes",
    );
    finding.add(fact!(
        "{reports} of that time, each with rxnb 0",
        reports = Value::Count(deaf.reports, "report")
    ));
    finding.add(match deaf.why {
        Why::Other(other, frames) => fact!(
            "gateway {other} receives {frames} in the same time",
            other,
            frames = Value::Count(frames, "frame")
        ),
        Why::Before { frames, expected, last } => fact!(
            "it received {frames} before, the last at {last}; some {expected} more were to be expected",
            frames = Value::Count(frames, "frame"),
            last,
            expected = expected.round()
        ),
        Why::Consoles(nodes) => fact!(
            "the console of {nodes} says that it transmits",
            nodes = Value::Count(nodes as u64, "node")
        ),
    });
    Some(finding)
}

const PAGE: &str = r"# gateway-hears-nothing
The gateway runs, is connected, and receives nothing, though somebody
transmits.

## What is seen
At the gateway: rxnb 0 in every report, for hours. At the server: the gateway
is online, and no frame arrives through it. Another gateway nearby hears the
nodes. At the nodes: no answer, or answers through the other gateway.

## Why it happens
The antenna is not connected, its cable has water in it, the radio has no
power or was not started. The gateway listens to another plan than the nodes
use.

## How to be sure
Somebody must be known to transmit in that time: another gateway of the same
place hears ten frames or more, the consoles of nodes say that they sent, or
this gateway heard many frames before and should have heard many since. Then
chance is out of the question.

A quiet night at one gateway says nothing. Gateways that are far apart hear
other nodes. Nodes may have been switched off: so it is likely, no more.

## What to do
1. Check antenna, connector, cable and arrester.
2. Hold a node that works next to the gateway, a few metres away.
3. Look at the radio's start in the gateway's log.
4. Compare its channels with those of the nodes.

## Example
In 20 minutes the south gateway hears 47 frames, the north gateway none: rxnb
0 in all 40 reports. The antenna's connector had been left loose.

## Source
The gateway packet-forwarder protocol, `stat`; the rest is common practice.
";
