//! Requests that lead a node to channels that no gateway hears.

use super::{Case, Story};
use crate::{
    frame::command::Command,
    region::{ChannelMask, Plan, PlanKind},
    trace::settings::{Belief, Exchange},
};

/// What a downlink asks of the channels, and what is left of them.
#[derive(Debug)]
pub(in crate::ladder) struct Away<'s> {
    pub(in crate::ladder) asked: Vec<&'s Exchange>,
    /// Its place.
    pub(in crate::ladder) down: usize,
    /// The frequencies that are left to the node, hertz.
    pub(in crate::ladder) left: Vec<u32>,
    /// What the gateways receive, hertz.
    pub(in crate::ladder) heard: Vec<u32>,
    /// Whether roster or capture state what they receive, or only what they received shows it.
    pub(in crate::ladder) stated: bool,
}

/// Returns the last downlink, where it sets channels none of which a gateway hears.
pub(in crate::ladder) fn last<'s>(case: &Case<'_>, story: &'s Story<'_>) -> Option<Away<'s>> {
    let plan = story.plan?;
    let turn = story.turns().len().checked_sub(1)?;
    let sets = |exchange: &&Exchange| {
        matches!(exchange.name(), "LinkADRReq" | "NewChannelReq") && story.went_out(exchange.asked)
    };
    let asked: Vec<&Exchange> =
        story.settings.asked_in(turn).map(|(_, exchange)| exchange).filter(sets).collect();
    let down = asked.last()?.asked;
    let left = frequencies(story.at(turn), plan, story, &asked)?;
    let (heard, stated) = receivers(case, story);
    let near = |hz: &u32| heard.iter().any(|own| own.abs_diff(*hz) < 1_000);
    let is_away = !left.is_empty() && !heard.is_empty() && !left.iter().any(near);
    is_away.then_some(Away { asked, down, left, heard, stated })
}

/// The frequencies that are left to the node, should it take all requests of one downlink.
fn frequencies(
    now: &Belief,
    plan: &Plan,
    story: &Story<'_>,
    asked: &[&Exchange],
) -> Option<Vec<u32>> {
    let mut now = now.clone();
    for exchange in asked {
        let request = exchange.requests.first()?;
        if request.name() == "NewChannelReq" {
            now.define(request);
        } else {
            let mask = now.masked(plan, story.version(), &exchange.requests).ok()?;
            now.mask = crate::trace::settings::Held::stated(mask);
        }
    }
    let mask: ChannelMask = now.mask.value().cloned().unwrap_or_else(|| now.defined(plan));
    let of = |channel: u16| match plan.kind {
        PlanKind::Fixed => plan.channel_frequency(channel),
        PlanKind::Dynamic => {
            now.channels.get(&channel).and_then(|held| held.value()).map(|own| own.hz)
        }
    };
    Some(mask.channels().filter_map(of).filter(|hz| *hz > 0).collect())
}

/// What the gateways that hear the session receive, and whether somebody states it.
fn receivers(case: &Case<'_>, story: &Story<'_>) -> (Vec<u32>, bool) {
    let Some(plan) = story.plan else { return (Vec::new(), false) };
    let all: Vec<_> = case.trace.gateways.keys().copied().collect();
    let of = |channels: Vec<u16>| -> Vec<u32> {
        channels.into_iter().filter_map(|channel| plan.channel_frequency(channel)).collect()
    };
    let mut out = Vec::new();
    let mut stated = true;
    for eui in &all {
        let listens = case.listens(*eui);
        let own = if listens.is_empty() {
            case.gateway_channels(*eui).map(of).unwrap_or_default()
        } else {
            listens
        };
        if own.is_empty() {
            stated = false;
            let heard = case.trace.gateways.get(eui).map(|gateway| &gateway.heard_hz);
            out.extend(heard.into_iter().flat_map(|heard| heard.keys().copied()));
        } else {
            out.extend(own);
        }
    }
    out.sort_unstable();
    out.dedup();
    (out, stated)
}

/// Microseconds from one new uplink to the next, as they usually are.
pub(in crate::ladder) fn interval_us(story: &Story<'_>) -> Option<i64> {
    let time = |place: usize| story.time_us(place);
    let mut all: Vec<i64> = story
        .turns()
        .windows(2)
        .filter_map(|pair| match pair {
            [a, b] => {
                let frames = i64::from(b.missed) + 1;
                Some((time(b.first())? - time(a.first())?) / frames)
            }
            _ => None,
        })
        .collect();
    all.sort_unstable();
    all.get(all.len() / 2).copied()
}

/// The requests of an exchange as one list.
pub(in crate::ladder) fn requests(asked: &[&Exchange]) -> Vec<Command> {
    asked.iter().flat_map(|exchange| exchange.requests.iter().cloned()).collect()
}
