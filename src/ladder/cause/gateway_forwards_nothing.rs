//! Cause `gateway-forwards-nothing`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        gateway::{Case, Rung, hears::forwards_nothing},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::GatewayForwardsNothing,
    what: "the gateway receives good frames and forwards none",
    places: &[Place::Gateway(Rung::Hears)],
    kind: Kind::Exact,
    checks: &[Check::Gateway(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let good = forwards_nothing(case)?;
    let mut finding = Finding::new(
        Certainty::Certain,
        fact!(
            "{gateway} receives {frames} with a good CRC and forwards none of them",
            gateway = case.title(),
            frames = Value::Count(good, "frame")
        ),
        "check forward_crc_valid in the gateway's configuration, and its filters and lists of allowed nodes",
    );
    finding.add(fact!(
        "its statistics sum up to rxok {rxok}, rxfw 0 in {reports}",
        rxok = good,
        reports = Value::Count(case.figures.reports, "report")
    ));
    finding.add("no frame of it is in the capture");
    Some(finding)
}

const PAGE: &str = r"# gateway-forwards-nothing
The gateway receives frames with a good CRC and forwards none of them.

## What is seen
At the gateway: rxok rises, rxfw stays 0. At the server: the gateway is
online, and no frame arrives. At the nodes: no answer.

## Why it happens
`forward_crc_valid` is false in the gateway's configuration, or a filter or a
list of allowed nodes lets nothing through. Frames are dropped inside the
gateway.

## How to be sure
Sum up rxok and rxfw over all reports: ten or more against none, and no
reception in the capture. A frame may be counted as received in one report and
as forwarded in the next: single reports say nothing.

rxfw below rxok with a filter that is meant is not a fault. If rxfw is above 0
and no frame is in the capture, the port was not recorded.

## What to do
1. Set `forward_crc_valid` to true.
2. Check filters by JoinEUI, NetID or address, and lists of allowed nodes.
3. Look for the first report with rxfw above 0.

## Example
34 good frames in ten minutes, none forwarded. Somebody had swapped
`forward_crc_valid` and `forward_crc_error` in the file.

## Source
The gateway packet-forwarder protocol, `stat`; names of the settings: common
practice.
";
