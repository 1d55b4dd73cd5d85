//! Sessions whose keys or MICs come by another rule than the standard's.

use super::{
    cite,
    sessions::{first_unverified, sessions_of, unverified},
};
use crate::{
    explore::misreading::{self, Heard, Join, SessionCase, Side},
    fact::{Certainty, Value, fact},
    frame::DataFrame,
    id::DevNonce,
    ladder::{finding::Finding, join::Case, subject::LabelledRoot},
    trace::{Answer, Attempt, DataSeen, Line, Origin, Rule, Session},
};

/// A session whose data authenticates only by the rule that its accept does not ask for, with these
/// uplinks.
pub(in crate::ladder) fn against_opt_neg<'a>(
    case: &Case<'a>,
    rule: Rule,
) -> Option<(&'a Session, Vec<&'a DataSeen>)> {
    case.node.sessions.iter().find_map(|session| {
        let accept = case.accept_of(session)?;
        let asked = if accept.dl_settings.opt_neg() { Rule::V1_1 } else { Rule::V1_0 };
        let by_rule = |seen: &&DataSeen| {
            session.candidate_of(seen).is_some_and(|c| c.rule == rule && !c.lawful)
        };
        let frames: Vec<_> = session.uplinks().map(|(seen, _)| seen).filter(by_rule).collect();
        (asked != rule && !frames.is_empty()).then_some((session, frames))
    })
}

/// Whether the node derives by the 1.1 rule though OptNeg is 0: half a MIC of one frame is no
/// proof.
pub(in crate::ladder) fn ignores_fallback<'a>(
    case: &Case<'a>,
) -> Option<(&'a Session, Vec<&'a DataSeen>)> {
    against_opt_neg(case, Rule::V1_1)
        .filter(|(_, frames)| frames.len() >= 2 || !frames.iter().all(|seen| seen.held.half))
}

/// A misread rule under which the first data of a session verifies.
#[derive(Debug)]
pub(in crate::ladder) struct Explored<'a> {
    /// The attempt that began the session.
    attempt: &'a Attempt,
    answer: &'a Answer,
    /// The first data that fails by the standard.
    first: Line,
    pub(in crate::ladder) found: misreading::Finding,
    /// Data of another join, which holds by the standard.
    by_the_standard: Option<&'a DataSeen>,
}

/// What the explorer of misread standards finds for a session whose data fails.
pub(in crate::ladder) fn explored<'a>(case: &Case<'a>) -> Option<Explored<'a>> {
    case.node.attempts.iter().enumerate().find_map(|(index, attempt)| {
        sessions_of(case, index).find_map(|session| {
            // Downlinks that authenticate say nothing of the node's derivation.
            if session.uplinks().next().is_some() {
                return None;
            }
            let failing = unverified(case, session);
            let frames: Vec<(&DataFrame, u32)> =
                failing.into_iter().map(|frame| (frame, u32::from(frame.fcnt))).collect();
            let first = first_unverified(case, session)?;
            let found = as_case(case, attempt, session, &frames, |session| {
                misreading::explore_session(session).findings().first().cloned()
            })?;
            let Origin::Accept { answer, .. } = session.origin else { return None };
            let answer = attempt.answers.get(answer)?;
            let by_the_standard = by_the_standard(case);
            Some(Explored { attempt, answer, first, found, by_the_standard })
        })
    })
}

/// The first data of another join of this node that authenticates as the standard has it: a stack that
/// misreads the standard misreads it every time.
fn by_the_standard<'a>(case: &Case<'a>) -> Option<&'a DataSeen> {
    case.node.sessions.iter().filter(|session| case.accept_of(session).is_some()).find_map(
        |session| {
            let lawful =
                |seen: &&DataSeen| session.candidate_of(seen).is_some_and(|own| own.lawful);
            session.uplinks().map(|(seen, _)| seen).find(lawful)
        },
    )
}

/// An accept that the node took as the answer to a later request of its own.
///
/// By the 1.0 rule the MIC of an accept does not cover the DevNonce: a node that has sent another request since
/// cannot know that the accept is not for that one, and derives its keys with the nonce that it sent last.
#[derive(Debug)]
pub(in crate::ladder) struct Crossed<'a> {
    /// The request that the server answered.
    pub(in crate::ladder) attempt: &'a Attempt,
    pub(in crate::ladder) answer: &'a Answer,
    /// The node's last request before its data.
    pub(in crate::ladder) later: &'a Attempt,
    pub(in crate::ladder) held: usize,
    pub(in crate::ladder) odds: f64,
}

/// Returns the accept that was taken as the answer to a later request, if the data shows one.
pub(in crate::ladder) fn crossed<'a>(case: &Case<'a>) -> Option<Crossed<'a>> {
    let Explored { attempt, answer, first, found, .. } = explored(case)?;
    let nonce = found.nonce.filter(|_| {
        found
            .readings()
            .any(|rows| matches!(rows, [row] if row.id == "dev-nonce-of-another-attempt"))
    })?;
    let own = case.own_opening(answer)?;
    if own.rule != Rule::V1_0 {
        return None;
    }
    let before = case.node.attempts.iter().filter(|own| own.line() < first);
    let later = before.max_by_key(|own| own.line())?;
    let is_it = later.ask.nonce() == Some(nonce) && later.line() > attempt.line();
    is_it.then_some(Crossed { attempt, answer, later, held: found.held, odds: found.odds })
}

/// Uplinks of a session that an explorer looks at.
const EXPLORED: usize = 8;

/// Gives a session, and all that its keys can come from, to an explorer.
pub(in crate::ladder) fn as_case<T>(
    case: &Case<'_>,
    attempt: &Attempt,
    session: &Session,
    frames: &[(&DataFrame, u32)],
    with: impl FnOnce(&SessionCase<'_>) -> Option<T>,
) -> Option<T> {
    let Origin::Accept { answer, .. } = session.origin else { return None };
    let opening = case.own_opening(attempt.answers.get(answer)?)?;
    let roots = case.known_roots();
    let root = roots.iter().find(|r| r.at == opening.key)?;
    let others: Vec<_> =
        roots.iter().filter(|r| r.at != opening.key).map(LabelledRoot::as_known).collect();
    let other_nonces: Vec<DevNonce> = case
        .node
        .attempts
        .iter()
        .filter(|a| a.line() != attempt.line())
        .filter_map(|a| a.ask.nonce())
        .collect();
    let other_joins: Vec<Join> = case
        .answers()
        .filter(|(_, a, _)| a.line() != attempt.line())
        .filter_map(|(_, a, answer)| {
            let accept = &case.own_opening(answer)?.opened.accept;
            Some(Join {
                join_nonce: accept.join_nonce,
                net_id: accept.net_id,
                dev_nonce: a.ask.nonce()?,
            })
        })
        .collect();
    let frames: Vec<Heard<'_>> = frames
        .iter()
        .take(EXPLORED)
        .map(|(frame, fcnt)| Heard {
            frame,
            fcnt: *fcnt,
            conf_fcnt: None,
            tx_dr: None,
            tx_ch: None,
        })
        .collect();
    let session = SessionCase {
        root: root.as_known(),
        others: &others,
        accept: &opening.opened.accept,
        accept_rule: match opening.rule {
            Rule::V1_0 => misreading::Rule::V1_0,
            Rule::V1_1 => misreading::Rule::V1_1,
        },
        join_eui: attempt.ask.join_eui().unwrap_or_default(),
        dev_eui: attempt.ask.dev_eui()?,
        dev_nonce: attempt.ask.nonce()?,
        other_nonces: &other_nonces,
        other_joins: &other_joins,
        frames: &frames,
    };
    with(&session)
}

impl Explored<'_> {
    /// The finding of a cause that this mistake means; `thing` is what is computed wrongly.
    pub(in crate::ladder) fn finding(&self, thing: &'static str) -> Finding {
        let found = &self.found;
        let who = match found.side {
            Side::Node => "the node",
            Side::Server => "the server",
            Side::CannotTell { .. } => "one side (which one, the evidence does not decide)",
        };
        let certainty = match Certainty::of_probability(found.odds) {
            Certainty::Certain if !found.is_of_one_family() => Certainty::Likely,
            certainty => certainty,
        };
        let what = found.mistakes.iter().map(|row| Value::from(row.what)).collect();
        let mut finding = Finding::new(
            certainty,
            fact!(
                "the accept is good, and the first data verifies only if {side} {what}",
                side = who,
                what = Value::List(what, ", and ")
            ),
            fact!(
                "correct the {thing} on the side named; `handfast keys` shows what the standard \
                 derives",
                thing
            ),
        );
        for row in &found.mistakes {
            finding.add(fact!("the standard: {standard}", standard = row.standard));
            finding.add(fact!("what is seen of it: {seen}", seen = row.seen));
        }
        finding.add(fact!(
            "join of {request}: {uplinks} held",
            request = self.attempt,
            uplinks = Value::count(found.held, "uplink")
        ));
        finding.add(fact!(
            "{ways} of reading the standard tried",
            ways = Value::Count(found.tried, "way")
        ));
        finding.false_match = Some(found.odds);
        if let Some(seen) = self.by_the_standard {
            finding.certainty = Certainty::Possible;
            finding.add(fact!(
                "{frame}: data of another join holds as the standard says; a stack that misreads it does so every time",
                frame = cite(seen)
            ));
        }
        finding
    }
}
