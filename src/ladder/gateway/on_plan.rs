//! Rung 7, on-plan: what the gateway listens to is the channels of the region and the sub-band.

use super::{Case, listening::Listens};
use crate::{
    fact::{Certainty, Value, fact},
    ladder::{finding::Finding, rung::Judgement},
};

pub(super) fn judge(case: &Case<'_>, _: usize) -> Judgement {
    let Some(heard) = case.heard else {
        return Judgement::unknown("nothing of it is in the capture");
    };
    match &case.listens {
        Listens::Open if case.plan.is_none() => {
            Judgement::unknown("no region is stated; give one with --region or in the roster")
        }
        Listens::Open => Judgement::unknown(fact!(
            "{frames} of {nodes}: too few to say what it listens to",
            frames = Value::Count(heard.crc_good, "frame"),
            nodes = Value::Count(heard.receptions.nodes() as u64, "node")
        )),
        Listens::Stated(fact) => Judgement::proven(fact.clone()),
        Listens::Elsewhere(elsewhere) => Judgement::broken(elsewhere.fact()),
        Listens::OneChannel(one) => Judgement::broken(fact!(
            "{frames} of {nodes}, all on {frequency}",
            frames = Value::Count(one.frames, "frame"),
            nodes = Value::Count(one.nodes as u64, "node"),
            frequency = Value::Frequency(one.freq_hz)
        )),
        Listens::Inexact(low, high) => Judgement::broken(fact!(
            "every frequency that it reports is off the grid, by {low} to {high} Hz",
            low = *low,
            high = *high
        )),
    }
}

/// What is said of a gateway that receives one channel.
pub(in crate::ladder) fn only_one_channel(case: &Case<'_>) -> Option<Finding> {
    let (Listens::OneChannel(one), Some(plan)) = (&case.listens, case.plan) else { return None };
    let mut finding = Finding::new(
        one.certainty,
        fact!(
            "{gateway} receives {frequency} alone, the plan {region} has more channels: most of what nodes send is lost",
            gateway = case.title(),
            frequency = Value::Frequency(one.freq_hz),
            region = plan.name
        ),
        "use a gateway that receives all channels of the plan; a receiver of one channel serves no node that hops",
    );
    finding.false_match = Some(one.chance);
    finding.add(fact!(
        "{frames} of {nodes}, all on {frequency}; were {channels} received alike, chance would do that with {chance}",
        frames = Value::Count(one.frames, "frame"),
        nodes = Value::Count(one.nodes as u64, "node"),
        frequency = Value::Frequency(one.freq_hz),
        channels = Value::Count(one.of as u64, "channel"),
        chance = Value::Probability(one.chance)
    ));
    if let Some(heard) = case.heard
        && let [(rate, _)] = heard.receptions.rates.iter().collect::<Vec<_>>().as_slice()
    {
        finding.add(fact!("all of them at {data_rate}", data_rate = **rate));
    }
    for (eui, other) in &case.trace.gateways {
        if *eui != case.eui && other.heard_hz.len() > 1 {
            finding.add(match eui {
                Some(other) => {
                    fact!("gateway {other} receives other channels as well", other = *other)
                }
                None => "another gateway receives other channels as well".into(),
            });
        }
    }
    Some(finding)
}

/// What is said of a gateway that reports all frequencies off the grid.
pub(in crate::ladder) fn inexact(case: &Case<'_>) -> Option<Finding> {
    let (Listens::Inexact(low, high), Some(heard)) = (&case.listens, case.heard) else {
        return None;
    };
    let example = *heard.heard_hz.keys().next()?;
    let mut finding = Finding::new(
        Certainty::Likely,
        fact!(
            "{gateway} reports every frequency off the grid, such as {frequency}: a server that compares exactly \
             drops the frames",
            gateway = case.title(),
            frequency = Value::Frequency(example)
        ),
        "round the frequency to the channel in the gateway's forwarder (or in the server's intake)",
    );
    finding.add(fact!(
        "{frames} of {nodes}, each {low} to {high} Hz from a channel: the nodes are on their channels",
        frames = Value::Count(heard.heard_hz.values().sum(), "frame"),
        nodes = Value::Count(heard.receptions.nodes() as u64, "node"),
        low = *low,
        high = *high
    ));
    Some(finding)
}
