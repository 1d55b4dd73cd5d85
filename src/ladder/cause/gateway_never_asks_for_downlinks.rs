//! Cause `gateway-never-asks-for-downlinks`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        gateway::{Case, Rung, downlink_open::never_asks},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::GatewayNeverAsksForDownlinks,
    what: "the gateway sends no PULL_DATA",
    places: &[Place::Gateway(Rung::DownlinkOpen)],
    kind: Kind::Exact,
    checks: &[Check::Gateway(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let heard = case.heard?;
    let us = never_asks(case, heard)?;
    let mut finding = Finding::new(
        Certainty::Likely,
        fact!(
            "{gateway} sends no PULL_DATA in {time}: no downlink can reach it",
            gateway = case.title(),
            time = Value::About(us)
        ),
        "ask how the capture was made: a filter for the uplink port alone looks the same. Then check the forwarder's \
         version, and that its downlink thread runs",
    );
    finding.add(fact!(
        "{asked} PUSH_DATA, {answered} of them acknowledged; no PULL_DATA, no PULL_ACK",
        asked = heard.push.asked,
        answered = heard.push.answered
    ));
    finding.add("no PULL_RESP and no TX_ACK, and its statistics count no downlink");
    Some(finding)
}

const PAGE: &str = r"# gateway-never-asks-for-downlinks
The gateway reports what it hears and never asks for downlinks.

## What is seen
At the server: frames arrive; downlinks fail for lack of a way to the gateway.
At the gateway: dwnb 0 in its statistics. At the nodes: attempts without
answer, confirmed frames without an acknowledgement.

## Why it happens
The part of the forwarder that asks for downlinks is switched off or has
stopped. Or the forwarder is one that only listens.

## How to be sure
PULL_DATA is due every few seconds. If none comes in a minute or more, while
PUSH_DATA and PUSH_ACK are in the capture, and no PULL_RESP, no TX_ACK and
dwnb 0, it is likely this.

It is never certain from a capture: a recording of the uplink port alone looks
the same. dwnb or txnb above 0 show that. Ask for the filter before anybody is
sent out.

## What to do
1. Ask how it was recorded. Record both ports.
2. Check the forwarder's version and its configuration of downlinks.
3. Restart it, and look for the first PULL_DATA and PULL_ACK.

## Example
In six minutes 19 PUSH_DATA, all acknowledged, and not one PULL_DATA. The
forwarder had been built without its downlink part.

## Source
The gateway packet-forwarder protocol, section 5; keep-alive periods: common
practice.
";
