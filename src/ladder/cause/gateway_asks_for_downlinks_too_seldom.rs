//! Cause `gateway-asks-for-downlinks-too-seldom`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        gateway::{
            Case, Rung,
            downlink_open::{seldom, waits_long},
        },
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::GatewayAsksForDownlinksTooSeldom,
    what: "the way down closes before the gateway asks again",
    places: &[Place::Gateway(Rung::DownlinkOpen)],
    kind: Kind::Exact,
    checks: &[Check::Gateway(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let heard = case.heard?;
    let remedy = "set the gateway's keepalive_interval to 5 to 20 s: boxes on the way close a flow that is idle";
    if let Some(seldom) = seldom(heard) {
        let mut finding = Finding::new(
            Certainty::Likely,
            fact!(
                "{gateway} asks for downlinks every {gap}; what comes up to {taken} after that is taken, what comes \
                 from {lost} on is never heard of again",
                gateway = case.title(),
                gap = Value::About(seldom.gap_us),
                taken = Value::About(seldom.taken_us),
                lost = Value::About(seldom.lost_us)
            ),
            remedy,
        );
        finding.false_match = Some(seldom.chance);
        let (taken, lost) = seldom.counts;
        finding.add(fact!(
            "{taken} taken (TX_ACK), {lost} without a TX_ACK, sorted by the time since the last PULL_DATA without one \
             exception",
            taken = Value::Count(taken as u64, "downlink"),
            lost = Value::Count(lost as u64, "downlink")
        ));
        return Some(finding);
    }
    let gap = waits_long(heard).filter(|_| case.down.is_sound())?;
    let mut finding = Finding::new(
        Certainty::Possible,
        fact!(
            "{gateway} asks for downlinks every {gap} only: many boxes close the way back sooner",
            gateway = case.title(),
            gap = Value::About(gap)
        ),
        remedy,
    );
    finding.add("no downlink in the capture shows whether the way stays open for so long");
    Some(finding)
}

const PAGE: &str = r"# gateway-asks-for-downlinks-too-seldom
The gateway asks for downlinks more seldom than the boxes on the way keep its
flow open. Downlinks that come later are lost.

## What is seen
At the server: some downlinks are acknowledged by the gateway (TX_ACK), and of
others nothing is heard again. At the gateway: only the first ones arrive. At
the nodes: sometimes an answer, mostly none.

## Why it happens
Address translation and firewalls remember a flow of UDP for some time after
its last datagram: 30 to 60 s in many boxes, 2 minutes by the rule. A gateway
that asks every three minutes is out of reach for most of that time.

## How to be sure
Capture at the server. Take, for each PULL_RESP, the time since the gateway's
last PULL_DATA. All that were taken are below a limit, all of which nothing is
heard are above, four or more of each. Chance sorts n downlinks of which k
were taken in this way once in C(n, k).

At the gateway the lost ones never arrive, and only the long interval shows:
then this is possible, no more. PULL_DATA once a minute with downlinks at any
time is healthy. TX_ACK that are lost at any age are another matter.

## What to do
1. Set `keepalive_interval` to 5 to 20 s.
2. Where traffic costs money, find out what the box on the way allows, and
   stay below half of it.

## Example
PULL_DATA every 180 s. 14 downlinks up to 55 s after one are taken, 20 from
74 s on are not. With 15 s every downlink is taken.

## Source
RFC 4787, REQ-5 (time of a UDP mapping); shorter times: common practice.
";
