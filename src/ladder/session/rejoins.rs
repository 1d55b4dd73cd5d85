//! Rejoin-Requests: each with the session in which the node sent it.

use super::{Case, Story};
use crate::{
    fact::Cite,
    trace::{Answer, Ask, Attempt, Origin},
};

/// A Rejoin-Request whose MIC holds.
#[derive(Clone, Copy, Debug)]
pub(in crate::ladder) struct Asked<'a> {
    /// Its place in the node's attempts.
    pub(in crate::ladder) place: usize,
    pub(in crate::ladder) attempt: &'a Attempt,
    /// Its type.
    pub(in crate::ladder) kind: u8,
    /// RJcount0 or RJcount1.
    pub(in crate::ladder) count: Option<u16>,
    /// The session in use then.
    pub(in crate::ladder) session: Option<usize>,
}

impl Asked<'_> {
    pub(in crate::ladder) fn cite(&self) -> Cite {
        Cite::from(self.attempt.heard.first()).with_time()
    }
}

/// Returns the Rejoin-Requests of a node whose MIC holds, in order.
pub(in crate::ladder) fn all<'a>(case: &Case<'a>) -> Vec<Asked<'a>> {
    let attempts = case.node.attempts.iter().enumerate();
    attempts
        .filter(|(_, attempt)| attempt.holds_under.iter().any(|key| case.is_own(key)))
        .filter_map(|(place, attempt)| {
            let Ask::Rejoin(request) = &attempt.ask else { return None };
            let count = request.body.count().map(|count| count.0);
            let session = in_use(case, attempt);
            Some(Asked { place, attempt, kind: request.body.rejoin_type(), count, session })
        })
        .collect()
}

/// Returns those that the node sent in one session.
pub(in crate::ladder) fn of<'a>(case: &Case<'a>, story: &Story<'_>) -> Vec<Asked<'a>> {
    all(case).into_iter().filter(|asked| asked.session == Some(story.place)).collect()
}

/// The session whose uplink is the last one before a request.
fn in_use(case: &Case<'_>, attempt: &Attempt) -> Option<usize> {
    let last = |story: &Story<'_>| {
        let lines = story.session.uplinks().map(|(seen, _)| seen.data.line());
        lines.filter(|line| *line < attempt.line()).max()
    };
    let used = case.stories.iter().filter_map(|story| Some((last(story)?, story.place)));
    used.max().map(|(_, place)| place)
}

/// Returns the accepts for a request that the node's key opens.
pub(in crate::ladder) fn answers<'a>(case: &Case<'a>, asked: &Asked<'a>) -> Vec<&'a Answer> {
    let attempt = asked.attempt;
    attempt.answers.iter().filter(|answer| case.own_opening(answer).is_some()).collect()
}

/// Whether the node used a session that an accept for a request began.
pub(in crate::ladder) fn is_used(case: &Case<'_>, asked: &Asked<'_>) -> bool {
    case.node.sessions.iter().any(|session| {
        let own =
            matches!(session.origin, Origin::Accept { attempt, .. } if attempt == asked.place);
        own && session.uplinks().next().is_some()
    })
}
