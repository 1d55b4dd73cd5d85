//! Sessions whose keys or MICs come by another rule.

use crate::{
    explore::misreading::{self, Heard, Join, SessionCase, Side},
    fact::Certainty,
    frame::DataFrame,
    id::DevNonce,
    ladder::{
        finding::Finding,
        join::{
            Case,
            proven::{sessions_of, unverified},
        },
        subject::LabelledRoot,
        words::count,
    },
    trace::{Attempt, Origin, Rule, Session},
};

pub(in crate::ladder) fn ignores_fallback(case: &Case<'_>) -> Option<Finding> {
    let found = case.node.sessions.iter().find_map(|session| {
        let accept = case.accept_of(session)?;
        let unlawful: Vec<_> = session
            .uplinks()
            .filter(|(seen, _)| {
                session.candidate_of(seen).is_some_and(|c| c.rule == Rule::V1_1 && !c.lawful)
            })
            .collect();
        (!accept.dl_settings.opt_neg() && !unlawful.is_empty()).then_some((session, unlawful))
    });
    let (session, frames) = found?;
    let half = frames.iter().all(|(seen, _)| seen.held.half);
    if half && frames.len() < 2 {
        return None;
    }
    let mut finding = Finding::new(
        Certainty::Certain,
        "OptNeg is 0 in the accept, so that the 1.0 rule derives the keys; the node's data \
         authenticates by the 1.1 rule only: it ignores the fallback",
        "mend the node's stack: with OptNeg 0 it derives NwkSKey and AppSKey from NwkKey by the 1.0 \
         rule; or register the node on a server that speaks 1.1",
    );
    for (seen, _) in frames.iter().take(4) {
        let context = seen.held.context.map_or("forwarding half alone".to_owned(), |c| {
            format!("TxDr {}, TxCh {}, ConfFCnt {}", c.tx_dr, c.tx_ch, c.conf_fcnt)
        });
        finding.add(format!(
            "{}: FCnt {} of DevAddr {} holds by the 1.1 rule ({context})",
            seen.data.line(),
            seen.held.fcnt,
            session.dev_addr
        ));
    }
    Some(finding.matched_by_chance(1_600.0, frames.len()))
}

/// What the explorer of misread standards finds for a session whose data fails.
fn explored(case: &Case<'_>) -> Option<(usize, misreading::Finding)> {
    for (index, attempt) in case.node.attempts.iter().enumerate() {
        for session in sessions_of(case, index) {
            // Downlinks that authenticate say nothing of the node's derivation.
            if session.uplinks().next().is_some() {
                continue;
            }
            let failing = unverified(case, session);
            if failing.is_empty() {
                continue;
            }
            if let Some(found) = explore(case, attempt, session, &failing) {
                return Some((index, found));
            }
        }
    }
    None
}

fn explore(
    case: &Case<'_>,
    attempt: &Attempt,
    session: &Session,
    failing: &[&DataFrame],
) -> Option<misreading::Finding> {
    let frames: Vec<(&DataFrame, u32)> =
        failing.iter().map(|frame| (*frame, u32::from(frame.fcnt))).collect();
    as_case(case, attempt, session, &frames, |session| {
        misreading::explore_session(session).findings().first().cloned()
    })
}

/// Hands a session, and all that its keys can come from, to an explorer.
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
        .take(8)
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

pub(in crate::ladder) fn another_rule(case: &Case<'_>) -> Option<Finding> {
    if ignores_fallback(case).is_some() {
        return None;
    }
    if let Some(finding) = lawless_1_0(case) {
        return Some(finding);
    }
    misread(case, misreading::Family::SessionKeys, "derivation")
}

pub(in crate::ladder) fn data_rule(case: &Case<'_>) -> Option<Finding> {
    if ignores_fallback(case).is_some() || lawless_1_0(case).is_some() {
        return None;
    }
    misread(case, misreading::Family::DataMic, "MIC")
}

/// The first data verifies under a mistake that means this cause before any other.
fn misread(case: &Case<'_>, family: misreading::Family, thing: &str) -> Option<Finding> {
    let (index, found) = explored(case)?;
    if found.first_family() != Some(family) {
        return None;
    }
    let what: Vec<&str> = found.mistakes.iter().map(|row| row.what).collect();
    let who = match found.side {
        Side::Node => "the node",
        Side::Server => "the server",
        Side::CannotTell { .. } => "one side (which one, the evidence does not decide)",
    };
    let certainty = match Certainty::of_probability(found.odds) {
        Certainty::Certain if !found.is_of_one_family() => Certainty::Likely,
        certainty => certainty,
    };
    let mut finding = Finding::new(
        certainty,
        format!(
            "the accept is good, and the first data verifies only if {who} {}",
            what.join(", and ")
        ),
        format!(
            "mend the {thing} on the side named; `handfast keys` shows what the standard derives"
        ),
    );
    for row in &found.mistakes {
        finding.add(format!("the standard: {}", row.standard));
        finding.add(format!("what is seen of it: {}", row.seen));
    }
    if let Some(attempt) = case.node.attempts.get(index) {
        finding.add(format!("join of {}: {} held", attempt.line(), count(found.held, "uplink")));
    }
    finding.add(format!("{} ways of reading the standard tried", found.tried));
    finding.false_match = Some(found.odds);
    Some(finding)
}

/// OptNeg is 1, yet the data verifies by the 1.0 rule.
fn lawless_1_0(case: &Case<'_>) -> Option<Finding> {
    let found = case.node.sessions.iter().find_map(|session| {
        let accept = case.accept_of(session)?;
        let unlawful: Vec<_> = session
            .uplinks()
            .filter(|(seen, _)| {
                session.candidate_of(seen).is_some_and(|c| c.rule == Rule::V1_0 && !c.lawful)
            })
            .collect();
        (accept.dl_settings.opt_neg() && !unlawful.is_empty()).then_some((session, unlawful))
    });
    let (session, frames) = found?;
    let mut finding = Finding::new(
        Certainty::Certain,
        "OptNeg is 1 in the accept, so that the 1.1 rule derives the keys; the node's data \
         authenticates by the 1.0 rule only",
        "mend the node's stack (with OptNeg 1 the 1.1 rule derives the keys), or set the record to \
         the version that the node has",
    );
    for (seen, _) in frames.iter().take(4) {
        finding.add(format!(
            "{}: FCnt {} of DevAddr {} holds by the 1.0 rule",
            seen.data.line(),
            seen.held.fcnt,
            session.dev_addr
        ));
    }
    Some(finding.matched_by_chance(2.0, frames.len()))
}
