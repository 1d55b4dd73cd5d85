//! Cause `uplink-port-unanswered`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, fact},
    intake::Leg,
    ladder::{
        finding::Finding,
        gateway::{Answers, Case, Rung, Witness, told},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::UplinkPortUnanswered,
    what: "the downlink flow is acknowledged, the uplink flow is not",
    places: &[Place::Gateway(Rung::UplinkAcknowledged)],
    kind: Kind::Exact,
    checks: &[Check::Gateway(check), Check::Gateway(told::uplink_unanswered)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let Answers::Never(up) = &case.up else { return None };
    let (true, heard) = (case.down.is_sound(), case.heard?) else { return None };
    if case.network_error(Leg::Push).is_some() {
        return None;
    }
    let certainty = match up.witness {
        Witness::Reports(_) | Witness::Network => Certainty::Certain,
        Witness::Server | Witness::None => Certainty::Likely,
    };
    let mut finding = Finding::new(
        certainty,
        fact!(
            "the server acknowledges what {gateway} asks for (PULL_DATA) and nothing that it reports (PUSH_DATA): no \
             uplink arrives",
            gateway = case.title()
        ),
        "check the gateway's uplink port (serv_port_up) and the firewall's rule for it; the downlink port works",
    );
    finding.add(up.fact("PUSH_DATA"));
    if let Answers::Acknowledged(share) | Answers::Late(share) = &case.down {
        finding.add(share.fact("PULL_DATA"));
    }
    finding.evidence.extend(up.witness());
    let port =
        |servers: &[crate::trace::Server]| servers.first().map(|server| server.address.port());
    if let (Some(uplink), Some(downlink)) = (port(&heard.push.servers), port(&heard.pull.servers)) {
        finding.add(fact!("uplink port {uplink}, downlink port {downlink}", uplink, downlink));
    }
    Some(finding)
}

const PAGE: &str = r"# uplink-port-unanswered
PULL_DATA is acknowledged, PUSH_DATA is not. Nothing that the gateway receives
arrives at the server.

## What is seen
At the server: the gateway is shown as connected, and no frame of any node
arrives. At the gateway: ackr 0.0 in its statistics, and frames received and
forwarded. At the nodes: no answer.

## Why it happens
The UDP protocol has two flows, and a port for each. `serv_port_up` is wrong,
or a firewall has a rule for one port of the two.

## How to be sure
By token: a PULL_ACK for each PULL_DATA, and no PUSH_ACK for any PUSH_DATA,
three or more. The gateway itself says so as well: ackr 0.0.

If ackr is 100.0 the recorder missed the PUSH_ACK. If they come late, see
acknowledgements-later-than-the-gateway-waits.

## What to do
1. Compare `serv_port_up` with the server's uplink port.
2. Let the firewall pass this port outward, and its answers.
3. Look for the first PUSH_ACK, and for ackr above 0.

## Example
In the orchard's first gateway `serv_port_up` is 1680 and the server listens
on
1700. 40 PULL_DATA are acknowledged, none of 26 PUSH_DATA.

## Source
The gateway packet-forwarder protocol, sections 3 to 6.
";
