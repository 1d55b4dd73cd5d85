//! Cause `no-downlink-path-to-the-gateway`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Fact, fact},
    id::Eui64,
    intake::Speaker,
    ladder::{
        finding::Finding,
        gateway,
        join::{Case, answered},
        session,
    },
    trace::{GatewayTrace, Line},
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::NoDownlinkPathToTheGateway,
    what: "the uplink flow is acknowledged, the downlink flow is not",
    places: &[Place::Gateway(gateway::Rung::DownlinkOpen), Place::Session(session::Rung::Answered)],
    kind: Kind::Exact,
    checks: &[
        Check::Gateway(gateway::downlink_open::no_path),
        Check::Gateway(gateway::told::no_path),
        Check::Join(of_node),
        Check::Session(session::answered::no_downlink_path),
    ],
    page: PAGE,
};

/// A node that no answer reaches: every gateway that heard its last requests is closed.
fn of_node(case: &Case<'_>) -> Option<Finding> {
    if case.entry.is_none() && !case.roster.nodes.is_empty() {
        // A neighbour's node: whether it waits for an answer through these gateways is not known.
        return None;
    }
    let unanswered = answered::unanswered_run(case);
    let first = unanswered.first()?.1.line();
    let heard = unanswered.iter().flat_map(|(_, attempt)| attempt.heard.sightings());
    let mut gateways: Vec<Option<Eui64>> = heard.map(|seen| seen.gateway).collect();
    gateways.sort_unstable();
    gateways.dedup();
    let mut found = None;
    for eui in gateways {
        let gateway = case.trace.gateways.get(&eui)?;
        if !gateway.pull_is_unanswered(first) {
            return None;
        }
        found.get_or_insert((eui, gateway));
    }
    let (eui, gateway) = found?;
    let mut finding = of(eui, gateway, first);
    for line in case.record().into_iter().flat_map(|r| &r.log) {
        finding.add(fact!("server's log: {said}", said = line.clone()).said_by(Speaker::Server));
    }
    Some(finding)
}

fn of(eui: Option<Eui64>, gateway: &GatewayTrace, since: Line) -> Finding {
    let pulls = gateway.pulls_unanswered();
    let name = eui.map_or(fact!("the gateway"), |gateway| fact!("gateway {gateway}", gateway));
    let mut finding = Finding::new(
        if pulls >= 3 { Certainty::Certain } else { Certainty::Likely },
        fact!(
            "{name} gets acknowledgements for its uplinks and none for its {pulls} PULL_DATA{since}: \
             no downlink can reach it",
            name,
            pulls,
            since = if gateway.counts.pull_ack > 0 { " since its last PULL_ACK" } else { "" }
        ),
        gateway::downlink_open::OPEN_THE_PORT,
    );
    finding.add(fact!(
        "PUSH_DATA {push_data}, PUSH_ACK {push_ack}; PULL_DATA {pull_data}, PULL_ACK {pull_ack}",
        push_data = gateway.counts.push_data,
        push_ack = gateway.counts.push_ack,
        pull_data = gateway.counts.pull_data,
        pull_ack = gateway.counts.pull_ack
    ));
    if let Some(at) = gateway.last_pull_ack().filter(|at| *at < since) {
        finding.add(fact!("{last}: the last PULL_ACK", last = at));
    }
    if let Some(stat) = gateway.stats.last() {
        let mut parts = Vec::new();
        parts.extend(stat.stat.ackr.map(|ackr| fact!("ackr {ackr} %", ackr = f64::from(ackr))));
        parts.extend(stat.stat.dwnb.map(|dwnb| fact!("dwnb {dwnb}", dwnb)));
        finding.add(fact!(
            "{statistics}: the gateway's statistics: {figures}",
            statistics = stat.line,
            figures = Fact::joined(parts, ", ")
        ));
    }
    finding
}

const PAGE: &str = r"# no-downlink-path-to-the-gateway
The uplink flow of the gateway is acknowledged, its downlink flow is not, so
no accept can reach it.

## What is seen
At the server: Join-Requests arrive and accepts are made, often with a note
that no route to the gateway is known. At the gateway: PUSH_DATA gets
PUSH_ACK, PULL_DATA gets no PULL_ACK, and no PULL_RESP arrives. At the
nodes: attempts without answer.

## Why it happens
The UDP protocol has two flows, often on two sockets with two port settings.
PULL_DATA opens the way back through firewalls and address translation, and
must be repeated. A firewall that drops one flow, a wrong downlink port, or
a pause between PULL_DATA longer than the translation table keeps, cuts the
way down only.

## How to be sure
Count by token: PUSH_ACK for PUSH_DATA, PULL_ACK for PULL_DATA. All of the
first and none of the second, over several keep-alive periods, is certain.
If some PULL_ACKs come, look at the times: downlinks fail that fall into
gaps.

First be sure that the capture sees both directions. A `stat` with dwnb
above zero, or a TX_ACK, while no PULL_RESP is in the capture, shows half a
capture: then nothing may be said about the path. A server that does not
want to answer still sends PULL_ACK. A gateway of the station protocol has
one connection for both ways; this cause does not apply.

## What to do
1. Set the downlink port of the forwarder to the one the server listens on.
2. Let the firewall pass the flow outward and its answers.
3. Shorten the keep-alive, so that it is well below the time the translation
   keeps an idle flow.
4. Look for PULL_ACK, then for the first PULL_RESP.

## Example
In 60 s the orchard gateway sends four PUSH_DATA, all acknowledged within
40 ms, and six PULL_DATA, one each 10 s, none acknowledged. Its `stat` says
ackr 100.0, dwnb 0. The router's rule names one port of two.

## Source
The gateway packet-forwarder protocol, sections 3-6.
";
