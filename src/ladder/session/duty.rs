//! Time on air of a session's uplinks, in the hour in which it is most.

use super::Story;
use crate::{
    frame::Direction,
    radio::time_on_air,
    region::{DutyBand, Plan},
};

/// The time over which a duty cycle is counted.
const HOUR_US: i64 = 3_600_000_000;

/// What was used of a share of the air.
#[derive(Clone, Copy, Debug)]
pub(in crate::ladder) struct Used {
    pub(in crate::ladder) band: DutyBand,
    /// Time on air within one hour, microseconds.
    pub(in crate::ladder) us: i64,
    /// As much as is allowed.
    pub(in crate::ladder) allowed_us: i64,
    /// Transmissions in that hour.
    pub(in crate::ladder) frames: usize,
    /// The first of them.
    pub(in crate::ladder) first: usize,
    /// The last of them.
    pub(in crate::ladder) last: usize,
}

/// Returns the busiest hour of each share of the air that the plan limits, where it is more than allowed.
pub(in crate::ladder) fn exceeded(story: &Story<'_>, plan: &'static Plan) -> Vec<Used> {
    let mut all: Vec<(usize, i64, i64, u32)> = Vec::new();
    for turn in story.turns() {
        for place in &turn.sent {
            let Some(heard) = story.heard(*place) else { continue };
            let best = heard.best();
            let air = best
                .modulation
                .and_then(|rate| time_on_air(rate, heard.octets.len(), Direction::Uplink));
            let (Some(air), Some(at), Some(hz)) = (air, heard.at(), best.freq_hz) else { continue };
            let us = i64::try_from(air.as_micros()).unwrap_or(i64::MAX);
            all.push((*place, at.as_microsecond(), us, hz));
        }
    }
    plan.duty_bands().filter_map(|band| busiest(&all, plan, band)).collect()
}

fn busiest(all: &[(usize, i64, i64, u32)], plan: &'static Plan, band: DutyBand) -> Option<Used> {
    let own: Vec<_> = all.iter().filter(|(.., hz)| band.covers(plan, *hz)).collect();
    let allowed_us = i64::try_from(band.hourly().as_micros()).ok()?;
    let mut from = 0;
    let mut sum = 0;
    let mut worst: Option<Used> = None;
    for (to, (last, at, us, _)) in own.iter().copied().enumerate() {
        sum += us;
        while let Some((_, first, gone, _)) = own.get(from)
            && at - first >= HOUR_US
        {
            sum -= gone;
            from += 1;
        }
        if worst.is_none_or(|held| sum > held.us) {
            let first = own.get(from).map_or(*last, |(first, ..)| *first);
            worst =
                Some(Used { band, us: sum, allowed_us, frames: to + 1 - from, first, last: *last });
        }
    }
    worst.filter(|used| used.us > allowed_us)
}
