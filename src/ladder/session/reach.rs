//! What of a session a capture can show: both directions, and how long it goes on.

use super::{Case, Story};
use crate::id::Eui64;

/// RxDelay is 15 s at the most.
const FARTHEST_US: i64 = 15_000_000;
/// RX2 opens so long after RX1.
const RX2_AFTER_US: i64 = 1_000_000;
/// Frames whose gateways are looked at.
const LOOKED_AT: usize = 64;

/// The gateways that hear a session.
pub(in crate::ladder) fn gateways(story: &Story<'_>) -> Vec<Option<Eui64>> {
    let mut out = Vec::new();
    for (_, heard) in story.session.uplinks().take(LOOKED_AT) {
        for sighting in heard.sightings() {
            if !out.contains(&sighting.gateway) {
                out.push(sighting.gateway);
            }
        }
    }
    out
}

/// Whether downlinks of a session would be in the capture, had there been any.
pub(in crate::ladder) fn both_ways(case: &Case<'_>, story: &Story<'_>) -> bool {
    let lacks = &case.trace.lacks;
    let shows = |eui: &Option<Eui64>| {
        case.trace.gateways.get(eui).is_some_and(|gateway| {
            gateway.hears_downlinks() && !gateway.misses_downlinks() && gateway.loose_downlinks == 0
        })
    };
    lacks.downlinks == 0 && lacks.damaged.is_empty() && gateways(story).iter().any(shows)
}

/// Whether a gateway that hears the session asks for downlinks, and its server answers.
pub(in crate::ladder) fn is_open(case: &Case<'_>, story: &Story<'_>) -> bool {
    let open = |eui: &Option<Eui64>| {
        let gateway = case.trace.gateways.get(eui);
        gateway.is_some_and(|gateway| gateway.pulls_in_vain() == 0)
    };
    gateways(story).iter().any(open)
}

/// Whether a server would have answered the last uplink of a turn, had it wanted to: the capture goes on
/// until RX2 opens, or the node sends again.
pub(in crate::ladder) fn is_due(case: &Case<'_>, story: &Story<'_>, turn: usize) -> bool {
    let turns = story.turns();
    let last = turns.get(turn).and_then(|turn| turn.sent.last());
    let rx1_us = story.at(turn).rx1_delay_us().want.unwrap_or(FARTHEST_US);
    turn + 1 < turns.len()
        || last.is_some_and(|place| goes_on_us(case, story, *place) >= rx1_us + RX2_AFTER_US)
}

/// Returns how long the capture goes on after a frame, microseconds.
pub(in crate::ladder) fn goes_on_us(case: &Case<'_>, story: &Story<'_>, place: usize) -> i64 {
    let end = case.trace.span.map(|(_, last)| last.as_microsecond());
    let at = story.time_us(place);
    end.zip(at).map_or(0, |(end, at)| end - at)
}
