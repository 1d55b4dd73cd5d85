//! Which plan, and which sub-band, channels are of.

use std::collections::BTreeSet;

use super::SAME_HZ;
use crate::{
    fact::{Certainty, Fact, Value, fact},
    ladder::finding::Finding,
    region::{JoinChannels, Plan, PlanKind},
};

/// Channels of another plan or sub-band than the roster's.
#[derive(Debug)]
pub(in crate::ladder::gateway) struct Elsewhere {
    pub(in crate::ladder::gateway) fact: Fact,
    /// The sub-band of the roster, where the plan is the same.
    pub(in crate::ladder::gateway) sub_band: Option<u8>,
    certainty: Certainty,
    names: String,
    registered: String,
}

/// Returns the plan or sub-band that the channels are of, where it is not the roster's.
pub(in crate::ladder::gateway) fn elsewhere(
    received: &[u32],
    plan: &'static Plan,
    sub_band: Option<u8>,
) -> Option<Elsewhere> {
    if received.is_empty() {
        return None;
    }
    // One common name, several plans: which of them is meant the roster does not say.
    if plan.namesakes().any(|other| is_of(other, received)) {
        return None;
    }
    another_plan(received, plan).or_else(|| another_sub_band(received, plan, sub_band?))
}

fn another_plan(received: &[u32], plan: &'static Plan) -> Option<Elsewhere> {
    let outside = !received.iter().any(|hz| plan.in_band(*hz));
    let none_fits = match plan.kind {
        PlanKind::Fixed => !received.iter().any(|hz| is_channel(plan, *hz)),
        // The network may have added any channel of the band; those that all nodes have tell.
        PlanKind::Dynamic => outside || !join_channels(plan).iter().any(|hz| has(received, *hz)),
    };
    if !none_fits {
        return None;
    }
    let others: Vec<&str> =
        Plan::all().iter().filter(|other| is_of(other, received)).map(|other| other.name).collect();
    if others.is_empty() {
        return None;
    }
    let certainty = if outside || plan.kind == PlanKind::Fixed {
        Certainty::Certain
    } else {
        Certainty::Likely
    };
    let names = others.join(" or ");
    let registered = plan.name.to_owned();
    let channels = Value::List(received.iter().map(|hz| Value::Frequency(*hz)).collect(), ", ");
    let fact = fact!(
        "the file sets {channels}: channels of {plans}, not of {registered}",
        channels,
        plans = names.clone(),
        registered = registered.clone()
    );
    Some(Elsewhere { fact, sub_band: None, certainty, names, registered })
}

fn another_sub_band(received: &[u32], plan: &'static Plan, sub_band: u8) -> Option<Elsewhere> {
    let bands = sub_bands(plan, received)?;
    if bands.is_empty() || bands.contains(&sub_band) {
        return None;
    }
    let names: Vec<String> = bands.iter().map(ToString::to_string).collect();
    let names = format!("sub-band {}", names.join(" and "));
    let registered = format!("sub-band {sub_band}");
    let channels = Value::List(received.iter().map(|hz| Value::Frequency(*hz)).collect(), ", ");
    let fact = fact!(
        "the file sets {channels}: channels of {plan}, {bands}; the roster says {registered}",
        channels,
        plan = plan.name,
        bands = names.clone(),
        registered = registered.clone()
    );
    let (sub_band, certainty) = (Some(sub_band), Certainty::Certain);
    Some(Elsewhere { fact, sub_band, certainty, names, registered })
}

/// Returns the sub-band of all these channels, if it is one.
pub(in crate::ladder::gateway) fn only_sub_band(
    plan: &'static Plan,
    received: &[u32],
) -> Option<u8> {
    let bands = sub_bands(plan, received)?;
    match bands.into_iter().collect::<Vec<_>>().as_slice() {
        [only] => Some(*only),
        _ => None,
    }
}

/// Returns the sub-bands of channels; nothing where one of them is no channel of the plan.
fn sub_bands(plan: &'static Plan, received: &[u32]) -> Option<BTreeSet<u8>> {
    received.iter().map(|hz| plan.sub_band(channel_at(plan, *hz)?)).collect()
}

/// Whether a plan has that channel, or may have it: in a dynamic plan the network may have added it.
pub(in crate::ladder::gateway) fn fits(plan: &'static Plan, hz: u32) -> bool {
    match plan.kind {
        PlanKind::Fixed => is_channel(plan, hz),
        PlanKind::Dynamic => plan.in_band(hz),
    }
}

/// Whether all channels are of a plan, and the ones that its nodes join on among them.
fn is_of(plan: &'static Plan, received: &[u32]) -> bool {
    let all_fit = received.iter().all(|hz| fits(plan, *hz));
    all_fit
        && (plan.kind == PlanKind::Fixed || join_channels(plan).iter().all(|hz| has(received, *hz)))
}

fn is_channel(plan: &'static Plan, hz: u32) -> bool {
    channel_at(plan, hz).is_some()
}

fn channel_at(plan: &'static Plan, hz: u32) -> Option<u16> {
    let hit = plan.nearest_uplink(hz, Some(125))?;
    (hit.offset_hz.unsigned_abs() <= u64::from(SAME_HZ)).then_some(hit.channel)
}

fn join_channels(plan: &'static Plan) -> Vec<u32> {
    match plan.join.channels {
        JoinChannels::Listed(channels) => channels.iter().map(|c| c.freq_hz).collect(),
        JoinChannels::AnyUplink(_) | JoinChannels::Common { .. } => Vec::new(),
    }
}

fn has(received: &[u32], hz: u32) -> bool {
    received.iter().any(|own| own.abs_diff(hz) <= SAME_HZ)
}

impl Elsewhere {
    pub(in crate::ladder::gateway) fn finding(&self) -> Finding {
        Finding::new(
            self.certainty,
            fact!(
                "the gateway's file sets the channels of {names}, and the roster says {registered}",
                names = self.names.clone(),
                registered = self.registered.clone()
            ),
            fact!(
                "decide which of the two is right for this place, then set gateway, server and nodes to the \
                 same"
            ),
        )
        .and(self.fact.clone())
    }
}
