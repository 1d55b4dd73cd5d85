//! What a server says of the counter of a session's data.

use super::{Case, Rung, Story};
use crate::{
    fact::{Certainty, Value, fact},
    intake::{Refusal, Statement, Subject},
    ladder::{
        finding::Finding,
        gateway::told::says,
        rung::{Judgement, State},
    },
    trace::{Origin, Session, Told},
};

/// The refusals of a node's counter: those of a session, where one is named.
fn refused<'a>(
    told: &'a [Told],
    session: Option<&Session>,
) -> Vec<(&'a Told, Option<u32>, Option<u32>)> {
    told.iter()
        .filter_map(|one| {
            let Statement::Refused(Refusal::CounterTooLow { fcnt, last }) = one.said.what else {
                return None;
            };
            let own = match (&one.said.about, session) {
                (Some(Subject::DevAddr(addr)), Some(session)) => *addr == session.dev_addr,
                _ => true,
            };
            own.then_some((one, fcnt, last))
        })
        .collect()
}

/// Sets what is said of the counter beside what is computed.
pub(in crate::ladder) fn amend(case: &mut Case<'_>) {
    for session in 0..case.ladders.len() {
        let Some(judged) = case.ladders.get(session).map(|ladder| ladder[Rung::Fresh].clone())
        else {
            continue;
        };
        let amended = amended(case, session, judged);
        if let Some(ladder) = case.ladders.get_mut(session) {
            ladder[Rung::Fresh] = amended;
        }
    }
}

fn amended(case: &Case<'_>, session: usize, judged: Judgement) -> Judgement {
    let Some(own) = case.session(session) else { return judged };
    let refused = refused(&case.node.told, Some(own));
    let Some((told, ..)) = refused.first() else { return judged };
    match judged.state {
        State::Unknown => Judgement { state: State::Broken, ..judged }.and(says(told)),
        State::Broken => judged.and(says(told)),
        State::Proven => judged.and(fact!("this does not agree: {said}", said = says(told))),
    }
}

/// An ABP node whose counter the server refuses.
pub(in crate::ladder) fn of_a_claim(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let claimed = matches!(story.session.origin, Origin::Claim(_));
    (claimed && story.session.frames.is_empty())
        .then(|| restart(&case.node.told, Some(story.session)))
        .flatten()
}

/// A node of which no session is known, and whose counter the server refuses.
pub(in crate::ladder) fn of_a_node(case: &crate::ladder::join::Case<'_>) -> Option<Finding> {
    let mut finding = restart(&case.node.told, None).filter(|_| case.node.sessions.is_empty())?;
    // Whether it joins is not known.
    finding.certainty = Certainty::Possible;
    Some(finding)
}

fn restart(told: &[Told], session: Option<&Session>) -> Option<Finding> {
    let refused = refused(told, session);
    let (first, fcnt, last) = *refused.first()?;
    let counters: Vec<u32> = refused.iter().filter_map(|(_, fcnt, _)| *fcnt).collect();
    let rises = counters
        .windows(2)
        .filter(|w| matches!(w, [a, b] if (1..16).contains(&b.wrapping_sub(*a))))
        .count();
    // Near the end of the lower half the count may have rolled over.
    let rolls = last.is_none_or(|last| last & 0xFFFF > 0xFF00);
    let sure = rises >= 1 && !rolls && counters.iter().max() < last.as_ref();
    let mut finding = Finding::new(
        if sure { Certainty::Likely } else { Certainty::Possible },
        match (fcnt, last) {
            (Some(fcnt), Some(last)) => fact!(
                "the server refuses FCnt {fcnt}, as the last that it took is {last}: the node began to count again",
                fcnt,
                last
            ),
            _ => "the server refuses the FCnt as too low: the node may have begun to count again"
                .into(),
        },
        "let the node keep its counter across a reset, or join again; to recover, reset the server's counter once",
    );
    finding.add(says(first));
    if counters.len() >= 2 {
        finding.add(fact!("FCnt refused: {counters}", counters = Value::list(counters)));
    }
    Some(finding)
}

/// Whether a server refuses the counter of a node's data.
pub(in crate::ladder) fn is_refused(told: &[Told]) -> bool {
    !refused(told, None).is_empty()
}
