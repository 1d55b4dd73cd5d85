//! Counters that jump by more than the other side accepts, up to LoRaWAN 1.0.3.

use super::Story;
use crate::{
    frame::MacVersion,
    trace::{
        Data,
        settings::{Turn, counter_of},
    },
};

/// MAX_FCNT_GAP up to LoRaWAN 1.0.3 (RP002-1.0.1, 2.3).
const MAX_FCNT_GAP: u32 = 16_384;
/// The shortest frame at the fastest data rate takes longer on the air than this, microseconds.
const SHORTEST_US: i64 = 20_000;

/// A downlink, by its place, and its counter.
pub(in crate::ladder) type Counted = (usize, u32);

/// Whether the node's version has a limit.
fn is_limited(story: &Story<'_>) -> bool {
    story.version().is_some_and(|version| version < MacVersion::V1_0_4)
}

/// Whether so many frames can have been sent in the time between.
fn had_time(story: &Story<'_>, from: usize, to: usize, frames: u32) -> bool {
    let time = |place: usize| story.time_us(place);
    let passed = time(to).zip(time(from)).map(|(to, from)| to - from);
    passed.is_none_or(|us| us > i64::from(frames) * SHORTEST_US)
}

/// Returns the uplinks between which FCnt jumps.
pub(in crate::ladder) fn up<'s>(story: &'s Story<'_>) -> Option<(&'s Turn, &'s Turn)> {
    story.turns().windows(2).filter(|_| is_limited(story)).find_map(|pair| match pair {
        [a, b] if b.missed >= MAX_FCNT_GAP && !had_time(story, a.first(), b.first(), b.missed) => {
            Some((a, b))
        }
        _ => None,
    })
}

/// Returns the downlinks between which FCntDown jumps.
pub(in crate::ladder) fn down(story: &Story<'_>) -> Option<(Counted, Counted)> {
    if !is_limited(story) {
        return None;
    }
    let mut last: [Option<Counted>; 2] = [None; 2];
    for (place, seen) in story.session.frames.iter().enumerate() {
        if matches!(seen.data, Data::Up { .. }) || !story.went_out(place) {
            continue;
        }
        let fcnt = seen.held.fcnt;
        let Some(last) = last.get_mut(counter_of(story.session, seen)) else { continue };
        if let Some((before, held)) = last.replace((place, fcnt))
            && fcnt.saturating_sub(held) > MAX_FCNT_GAP
            && !had_time(story, before, place, fcnt - held)
        {
            return Some(((before, held), (place, fcnt)));
        }
    }
    None
}
