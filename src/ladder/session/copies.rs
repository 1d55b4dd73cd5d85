//! The sessions that the copies of one request began.

use super::Case;
use crate::trace::{Answer, Attempt, Origin, Session, Sighting};

/// The sessions that the answers of one attempt began, with the answers.
pub(in crate::ladder) fn sessions_of<'a>(
    case: &Case<'a>,
    index: usize,
) -> Vec<(&'a Session, &'a Answer)> {
    let Some(attempt) = case.node.attempts.get(index) else { return Vec::new() };
    let began = |session: &'a Session| match session.origin {
        Origin::Accept { attempt: of, answer } if of == index => {
            Some((session, attempt.answers.get(answer)?))
        }
        _ => None,
    };
    case.node.sessions.iter().filter_map(began).collect()
}

/// Whether an answer counts from a sighting of its request.
pub(in crate::ladder) fn answers(answer: &Answer, attempt: &Attempt, which: &Sighting) -> bool {
    let sighting = answer.delay.sighting().and_then(|place| attempt.heard.sighting(place));
    sighting.is_some_and(|s| s.line == which.line && s.freq_hz == which.freq_hz)
}
