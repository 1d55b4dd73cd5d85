//! Cause `gateway-silent`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Value, fact},
    ladder::{
        finding::Finding,
        gateway::{Case, Rung, voice::Speaks},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::GatewaySilent,
    what: "the gateway sends nothing, while another through the same recorder does",
    places: &[Place::Gateway(Rung::Speaks)],
    kind: Kind::Exact,
    checks: &[Check::Gateway(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let Speaks::Silent(silent) = &case.speaks else { return None };
    let (first, last) = silent.span;
    let mut finding = Finding::new(
        silent.certainty,
        fact!(
            "nothing of {gateway} is in the capture, while gateway {other} asks for downlinks every {keep_alive}",
            gateway = case.title(),
            other = silent.other,
            keep_alive = Value::About(silent.keep_alive_us)
        ),
        "check the gateway's power and network, and that its forwarder runs; then capture at the gateway itself: \
         it may send to another server",
    );
    finding.add(fact!(
        "gateway {other} speaks from {first} to {last}",
        other = silent.other,
        first,
        last
    ));
    finding.add(fact!(
        "{gateways} of the roster in the capture, and no EUI near this one",
        gateways = Value::Count(silent.others as u64, "other gateway")
    ));
    Some(finding)
}

const PAGE: &str = r"# gateway-silent
Another gateway of the roster is in the capture all the time, and this one
sends nothing at all.

## What is seen
At the server: the gateway is shown as offline. In the capture: the keep-alive
of another gateway every few seconds, nothing under this EUI, and nothing
under an EUI that is a typing error away.

## Why it happens
The gateway has no power, no network, or its forwarder does not run. Or it
sends to another server, or through a way that the recorder does not see.

## How to be sure
Compare how long nothing comes with the keep-alive of the other gateway: 30
periods and more are not an accident. The capture must be one that would show
this gateway. A recorder on one gateway's own host sees that gateway alone:
then this is possible at most. A roster may also name gateways of another
place.

Look for an EUI near this one first: a gateway that sends under an EUI with a
typing error is not silent. See gateway-registered-under-another-eui.

## What to do
1. Check power, cable, SIM card and signal.
2. Log in to the gateway: is the forwarder running, what does its log say?
3. Capture at the gateway itself. If it sends, look at the address and the
   ports that it sends to.

## Example
North shed and south shed are on the roster. In ten minutes the recorder sees
62 PULL_DATA of the north shed and nothing of the south shed. A mower had cut
the cable.

## Source
Keep-alive periods: common practice.
";
