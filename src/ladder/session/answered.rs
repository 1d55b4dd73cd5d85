//! Rung 6, answered: what asks for an answer gets one.

pub(in crate::ladder) mod asks;
pub(in crate::ladder) mod reasons;

use super::{Case, Story, reach};
use crate::{
    fact::{Certainty, Cite, Value, fact},
    ladder::{finding::Finding, rung::Judgement},
    trace::GatewayTrace,
};

/// So many PULL_DATA without an answer are no accident.
const SURE: u64 = 3;

pub(super) fn judge(case: &Case<'_>, session: usize) -> Judgement {
    let Some(story) = case.story(session) else { return Judgement::open() };
    let asked = asks::all(story);
    if asked.is_empty() {
        return Judgement::unknown("nothing in the uplinks asks for an answer");
    }
    let answered = asked.iter().filter(|ask| ask.answered.is_some()).count();
    let open = asked.len() - answered;
    if open == 0 || answered > 0 && asked.last().is_some_and(|ask| ask.answered.is_some()) {
        return Judgement::proven(fact!(
            "{requests} of {all} answered: ACK, LinkCheckAns, DeviceTimeAns and the like",
            requests = Value::Count(answered as u64, "request"),
            all = asked.len()
        ));
    }
    if !reach::both_ways(case, story) {
        return Judgement::unknown(fact!(
            "{requests} without an answer; what the server sends is not in the capture, or not all of it",
            requests = Value::Count(open as u64, "request")
        ));
    }
    Judgement::unknown(fact!(
        "{requests} of {all} without an answer",
        requests = Value::Count(open as u64, "request"),
        all = asked.len()
    ))
}

/// Cause `no-downlink-path-to-the-gateway`: what asks for an answer gets none, and no gateway that hears
/// the node gets a PULL_ACK.
pub(in crate::ladder) fn no_downlink_path(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let asked = asks::all(story);
    let open: Vec<_> = asked.iter().rev().take_while(|ask| ask.answered.is_none()).collect();
    if open.is_empty() {
        return None;
    }
    let gateways = reach::gateways(story);
    let deaf = |eui| Some((eui, case.trace.gateways.get(&eui)?));
    let all: Vec<_> = gateways
        .iter()
        .filter_map(|eui| deaf(*eui))
        .filter(|(_, gateway)| gateway.pulls_in_vain() > 0)
        .collect();
    let (eui, gateway) = *all.first()?;
    if all.len() < gateways.len() {
        return None;
    }
    let pulls = gateway.pulls_in_vain();
    let summary = if let Some(eui) = eui {
        fact!(
            "gateway {gateway} gets acknowledgements for its uplinks and none for its last {pull_data} PULL_DATA: \
         nothing can come down to it",
            gateway = eui,
            pull_data = Value::Number(pulls.cast_signed())
        )
    } else {
        fact!(
            "the gateway gets acknowledgements for its uplinks and none for its last {pull_data} PULL_DATA: nothing \
         can come down to it",
            pull_data = Value::Number(pulls.cast_signed())
        )
    };
    let sure = pulls >= SURE;
    let mut finding = Finding::new(
        if sure { Certainty::Certain } else { Certainty::Likely },
        summary,
        "open the gateway's downlink UDP port both ways (firewall, NAT, the port number set for \
         downlinks): the gateway must get a PULL_ACK for each PULL_DATA",
    );
    finding.add(counted(gateway));
    finding.add(fact!(
        "{requests} of the node without an answer, first {uplink}",
        requests = Value::Count(open.len() as u64, "request"),
        uplink = open.last().map(|ask| story.cite_turn(ask.turn)).unwrap_or_default()
    ));
    if let Some(stat) = gateway.stats.last() {
        finding.add(fact!(
            "{statistics}: the gateway counts {downlinks} received",
            statistics = Cite::from(stat.line),
            downlinks = Value::Count(stat.stat.dwnb.unwrap_or_default(), "downlink")
        ));
    }
    Some(finding)
}

fn counted(gateway: &GatewayTrace) -> crate::fact::Fact {
    fact!(
        "PUSH_DATA {push_data}, PUSH_ACK {push_ack}; PULL_DATA {pull_data}, PULL_ACK {pull_ack}",
        push_data = Value::Number(gateway.counts.push_data.cast_signed()),
        push_ack = Value::Number(gateway.counts.push_ack.cast_signed()),
        pull_data = Value::Number(gateway.counts.pull_data.cast_signed()),
        pull_ack = Value::Number(gateway.counts.pull_ack.cast_signed())
    )
}
