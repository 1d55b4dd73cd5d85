//! The accepts of a node's attempts, as rungs 7 to 9 judged each of them.

use super::{Case, Rung, tried::Tried};
use crate::{
    fact::fact,
    ladder::rung::{Judgement, State},
    trace::{Answer, Attempt, Origin},
};

/// Other accepts of an attempt whose evidence is told.
const MOST_TOLD: usize = 4;

/// The accept that the rungs speak of: the one that the node took, or else the one that climbs
/// highest; of two alike the first.
fn telling<'c, 'a>(case: &'c Case<'a>, index: usize) -> Option<&'c Tried<'a>> {
    let all = case.tried(index);
    let taken = all.iter().find(|tried| is_taken(case, index, tried));
    let place = |(at, tried): &(usize, &Tried<'a>)| (tried.height(), std::cmp::Reverse(*at));
    taken.or_else(|| all.iter().enumerate().max_by_key(place).map(|(_, tried)| tried))
}

/// Whether data authenticates under what the accept gives.
fn is_taken(case: &Case<'_>, index: usize, tried: &Tried<'_>) -> bool {
    let Some(attempt) = case.node.attempts.get(index) else { return false };
    case.node.sessions.iter().any(|session| {
        let Origin::Accept { attempt: at, answer } = session.origin else { return false };
        at == index
            && attempt.answers.get(answer).is_some_and(|own| tried.is_same(own))
            && session.uplinks().next().is_some()
    })
}

/// A rung of 7 to 9, for the accept that it speaks of.
pub(in crate::ladder) fn judge(
    case: &Case<'_>,
    index: usize,
    rung: Rung,
    none: &'static str,
) -> Judgement {
    let Some(told) = telling(case, index) else { return Judgement::unknown(none) };
    let Some(judgement) = told.of_rung(rung) else { return Judgement::unknown(none) };
    let mut judgement = judgement.clone();
    if told.passes() {
        return judgement;
    }
    // Why another accept did not do instead.
    let others = case.tried(index).iter().filter(|other| !std::ptr::eq(*other, told));
    let broken =
        others.filter_map(|other| other.of_rung(rung)).filter(|j| j.state == State::Broken);
    for said in broken.take(MOST_TOLD).flat_map(|said| &said.evidence) {
        judgement.add(fact!("another accept, {said}", said = said.clone()));
    }
    judgement
}

/// Whether an attempt has accepts, and each of them breaks on rung 7, 8 or 9.
pub(in crate::ladder) fn all_break(case: &Case<'_>, index: usize) -> bool {
    let all = case.tried(index);
    !all.is_empty()
        && !all.iter().any(Tried::passes)
        && case.state(index, Rung::Proven) != State::Proven
}

/// The attempts of which every accept breaks.
fn broken<'c, 'a>(
    case: &'c Case<'a>,
) -> impl Iterator<Item = (usize, &'a Attempt, &'c [Tried<'a>])> {
    let attempts = case.node.attempts.iter().enumerate();
    attempts
        .filter(|(index, _)| all_break(case, *index))
        .map(|(index, attempt)| (index, attempt, case.tried(index)))
}

/// The accepts of which it matters that they did not go out in a window: those of attempts in which
/// every accept breaks, and that did not reach the node in another sending either.
pub(in crate::ladder) fn lost<'a>(case: &Case<'a>) -> Vec<(&'a Attempt, &'a Answer)> {
    let mut out = Vec::new();
    for (_, attempt, all) in broken(case) {
        for tried in all {
            let mut reached = all.iter().filter(|other| other.is_same(tried.answer));
            if !reached.any(Tried::reaches) {
                out.push((attempt, tried.answer));
            }
        }
    }
    out
}

/// Whether an accept that no key opens may be for another node, which asked at the same time.
pub(in crate::ladder) fn may_be_anothers(
    case: &Case<'_>,
    attempt: &Attempt,
    answer: &Answer,
) -> bool {
    answer.openings.is_empty() && is_beside_another(case, attempt)
}

/// Whether another node asked at the same time.
pub(in crate::ladder) fn is_beside_another(case: &Case<'_>, attempt: &Attempt) -> bool {
    let at = |attempt: &Attempt| Some(attempt.heard.at()?.as_microsecond());
    let beside = |other: &Attempt| {
        at(attempt).zip(at(other)).is_some_and(|(a, b)| (a - b).abs() <= TOGETHER_US)
    };
    let mut others = case.trace.nodes.iter().filter(|node| !std::ptr::eq(*node, case.node));
    others.any(|node| node.attempts.iter().any(beside))
}

/// Whether of several accepts some answer one request and some another: so often no accept of another
/// node is mistaken for this one's.
pub(in crate::ladder) fn of_several<'a>(all: impl Iterator<Item = &'a Attempt>) -> bool {
    let mut lines = all.map(Attempt::line);
    lines.next().is_some_and(|first| lines.any(|line| line != first))
}

/// Nodes that ask within this time may be given each other's accepts.
const TOGETHER_US: i64 = 2_000_000;

/// The accepts that the node cannot take, of attempts in which every accept breaks.
pub(in crate::ladder) fn unacceptable<'a>(case: &Case<'a>) -> Vec<(&'a Attempt, &'a Answer)> {
    broken(case)
        .flat_map(|(_, attempt, all)| {
            let refused = all.iter().filter(|tried| tried.acceptable.state == State::Broken);
            refused.map(move |tried| (attempt, tried.answer))
        })
        .collect()
}

/// Whether an accept of the attempt holds rungs 7 and 9, and rung 8 is not broken.
pub(in crate::ladder) fn has_good(case: &Case<'_>, index: usize) -> bool {
    case.tried(index).iter().any(Tried::is_good)
}
