//! Downlinks of sessions that the node has left.

use super::{Case, Story};
use crate::trace::Origin;

/// Returns the downlinks of earlier sessions that were sent after the node began to use this one.
pub(in crate::ladder) fn downs<'c, 'a>(
    case: &'c Case<'a>,
    story: &Story<'_>,
) -> Vec<(&'c Story<'a>, usize)> {
    let first = story.turns().first().and_then(|turn| story.seen(turn.first()));
    let Some(first) = first.map(|seen| seen.data.line()) else { return Vec::new() };
    let mut out = Vec::new();
    for other in case.stories.iter().filter(|other| other.place != story.place) {
        // The node came back to it: then it is no old session. One that it never used is old only if it
        // began earlier: copies of one request begin several.
        let is_left = other.ends.is_some_and(|ends| ends <= first);
        let was_used = !other.turns().is_empty();
        if !is_left || !was_used && !began_before(other, story) {
            continue;
        }
        let after = (0..other.session.frames.len()).filter(|place| {
            other.went_out(*place)
                && other.seen(*place).is_some_and(|seen| seen.data.line() > first)
        });
        out.extend(after.map(|place| (other, place)));
    }
    out
}

fn began_before(other: &Story<'_>, story: &Story<'_>) -> bool {
    match (other.session.origin, story.session.origin) {
        (Origin::Accept { attempt: other, .. }, Origin::Accept { attempt: own, .. }) => other < own,
        _ => false,
    }
}
