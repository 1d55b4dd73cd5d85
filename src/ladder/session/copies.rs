//! Copies: ghosts of an overloaded receiver, and late copies through a slow gateway.

use crate::{
    fact::Certainty,
    ladder::{
        finding::Finding,
        session::Case,
        words::{mhz, short_seconds},
    },
    trace::{Answer, Attempt, Session, Sighting},
};

/// A ghost is this much weaker than its original.
const GHOST_DB: f32 = 20.0;
/// A copy this late can be answered on its own.
const LATE_US: i64 = 1_000_000;

/// The sessions that the answers of one attempt began, with the sighting that each answer counts
/// from.
fn sessions_of<'a>(case: &Case<'a>, index: usize) -> Vec<(&'a Session, &'a Answer)> {
    let Some(attempt) = case.node.attempts.get(index) else { return Vec::new() };
    case.node
        .sessions
        .iter()
        .filter_map(|s| match s.origin {
            crate::trace::Origin::Accept { attempt: of, answer } if of == index => {
                Some((s, attempt.answers.get(answer)?))
            }
            _ => None,
        })
        .collect()
}

fn answers_sighting(answer: &Answer, attempt: &Attempt, which: &Sighting) -> bool {
    let sighting = answer.delay.sighting().and_then(|place| attempt.heard.sighting(place));
    sighting.is_some_and(|s| s.line == which.line && s.freq_hz == which.freq_hz)
}

fn recorded_addr(case: &Case<'_>) -> Option<crate::id::DevAddr> {
    case.record()?.dev_addr
}

pub(in crate::ladder) fn ghost(case: &Case<'_>) -> Option<Finding> {
    for (index, attempt) in case.node.attempts.iter().enumerate() {
        let Some((strong, weak)) = attempt.heard.ghost() else { continue };
        let (Some(high), Some(low)) = (strong.rssi, weak.rssi) else { continue };
        if high - low < GHOST_DB {
            continue;
        }
        let began = sessions_of(case, index);
        let of_ghost = began.iter().find(|(_, a)| answers_sighting(a, attempt, weak));
        let answered = attempt.answers.iter().any(|a| answers_sighting(a, attempt, weak));
        if !answered {
            continue;
        }
        let kept = of_ghost.is_some_and(|(s, _)| recorded_addr(case) == Some(s.dev_addr));
        let mut finding = Finding::new(
            if kept || attempt.answers.len() >= 2 { Certainty::Certain } else { Certainty::Likely },
            format!(
                "one request was received twice by one gateway, on {} at {high} dBm and on {} at \
                 {low} dBm: the node is too close, and the server {} the ghost",
                strong.freq_hz.map(mhz).unwrap_or_default(),
                weak.freq_hz.map(mhz).unwrap_or_default(),
                if kept { "kept the session of" } else { "answered" }
            ),
            "move the node away from the gateway (a few metres, RSSI well below -30 dBm) and join \
             again; have the server keep the strongest of identical copies",
        );
        if let (Some(a), Some(b)) = (strong.tmst, weak.tmst) {
            let apart = a.wrapping_sub(b).min(b.wrapping_sub(a));
            finding.add(format!(
                "{} and {}: the same octets {apart} us apart, {:.0} dB apart",
                strong.line,
                weak.line,
                high - low
            ));
        }
        for (session, answer) in &began {
            let of =
                if answers_sighting(answer, attempt, weak) { "the ghost" } else { "the original" };
            finding.add(format!(
                "{}: accept for {of}, DevAddr {}, {} data frames authenticate",
                answer.sending.line,
                session.dev_addr,
                session.frames.len()
            ));
        }
        if let Some(addr) = recorded_addr(case) {
            finding.add(format!("the record holds DevAddr {addr}"));
        }
        return Some(finding);
    }
    None
}

pub(in crate::ladder) fn late(case: &Case<'_>) -> Option<Finding> {
    for (index, attempt) in case.node.attempts.iter().enumerate() {
        let first = attempt.heard.first();
        let late = attempt.heard.sightings().find(|s| {
            s.gateway != first.gateway
                && matches!((s.at, first.at), (Some(b), Some(a))
                    if b.as_microsecond() - a.as_microsecond() >= LATE_US)
        });
        let Some(late) = late else { continue };
        let by = late.at?.as_microsecond() - first.at?.as_microsecond();
        let began = sessions_of(case, index);
        // The accept that came after the late copy.
        let second = began
            .iter()
            .find(|(_, a)| a.sending.line > late.line || answers_sighting(a, attempt, late));
        let Some((new, answer)) = second else { continue };
        let old = began.iter().find(|(s, _)| s.dev_addr != new.dev_addr);
        let Some((old, _)) = old else { continue };
        let kept = recorded_addr(case) == Some(new.dev_addr);
        let used = old.frames.len() > new.frames.len();
        if !kept && !used {
            continue;
        }
        let mut finding = Finding::new(
            if used { Certainty::Certain } else { Certainty::Likely },
            format!(
                "a copy of the request came {} later through another gateway and was taken for a \
                 new join: the server keeps DevAddr {}, the node {}",
                short_seconds(by),
                new.dev_addr,
                old.dev_addr
            ),
            "have the server refuse a DevNonce that it has just accepted; find out why that gateway \
             is so slow",
        );
        finding.add(format!("{}: the request; {}: its copy", first.line, late.line));
        finding.add(format!(
            "{}: the accept for the copy, DevAddr {}",
            answer.sending.line, new.dev_addr
        ));
        finding.add(format!(
            "data that authenticates: {} under {}, {} under {}",
            old.frames.len(),
            old.dev_addr,
            new.frames.len(),
            new.dev_addr
        ));
        if let Some(addr) = recorded_addr(case) {
            finding.add(format!("the record holds DevAddr {addr}"));
        }
        return Some(finding);
    }
    None
}
