//! Cause `acknowledgements-later-than-the-gateway-waits`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, fact},
    ladder::{
        finding::Finding,
        gateway::{Answers, Case, Rung, uplink_acknowledged::ackr},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::AcknowledgementsLaterThanTheGatewayWaits,
    what: "acknowledgements come after the gateway has stopped waiting",
    places: &[Place::Gateway(Rung::UplinkAcknowledged)],
    kind: Kind::Exact,
    checks: &[Check::Gateway(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let Answers::Late(share) = &case.up else { return None };
    // A line that is too slow for the windows is told as that.
    if !case.is_broken(Rung::UplinkAcknowledged) {
        return None;
    }
    let mut finding = Finding::new(
        Certainty::Certain,
        fact!(
            "{gateway} counts {counted} of {asked} PUSH_DATA as acknowledged, though the server acknowledges nearly \
             all: the answers come after the gateway has stopped waiting",
            gateway = case.title(),
            counted = share.ackr.1.round(),
            asked = share.ackr.0
        ),
        "nothing for uplinks: they arrive. Look at the round trip before downlinks suffer from it; a longer \
         push_timeout_ms makes ackr right again",
    );
    finding.add(share.fact("PUSH_DATA"));
    finding.add(ackr(share.ackr));
    Some(finding)
}

const PAGE: &str = r"# acknowledgements-later-than-the-gateway-waits
The server acknowledges what the gateway pushes, and its acknowledgements come
later than the gateway waits for them.

## What is seen
At the gateway: ackr is low or 0.0, and yet frames arrive at the server. In
the capture: a PUSH_ACK for each PUSH_DATA, by token, after more than 100 ms.

## Why it happens
A gateway waits some 100 ms for a PUSH_ACK (`push_timeout_ms`) and does not
count one that comes later. The way to the server and back takes longer: a
mobile or satellite link, a server on another continent, a server that is
busy.

## How to be sure
Compare, report by report, the share of acknowledgements within 100 ms with
ackr: they agree within one datagram. If the tokens never come, datagrams are
lost (acknowledgements-lost-in-part). If ackr is 100 with 80 ms, all is well.

The harm is small. Uplinks arrive. Only a round trip above some 0.7 s
endangers downlinks: see backhaul-too-slow-for-the-windows.

## What to do
1. Do not look for lost frames: there are none.
2. Look at the round trip. If it is near the windows, set RxDelay higher.
3. Raise `push_timeout_ms`, so that ackr can be read again.

## Example
The gateway on the hill has a mobile link. PUSH_ACK come after 0.21 s. ackr is
0.0 all day, and every frame is at the server.

## Source
The gateway packet-forwarder protocol, section 3; the wait and the meaning of
`ackr`: common practice.
";
