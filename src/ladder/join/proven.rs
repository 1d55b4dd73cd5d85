//! Rung 10, proven: the next uplink of the new DevAddr authenticates under the session keys that
//! the standard derives.

pub(in crate::ladder) mod away;
pub(in crate::ladder) mod derived;
pub(in crate::ladder) mod receiving;

use self::{
    away::{data_filter, led_away},
    receiving::{late_windows, not_taken_at, through_the_far, windows_elsewhere},
};
use crate::{
    frame::DataFrame,
    ladder::{
        join::Case,
        rung::Judgement,
        words::{count, place},
    },
    trace::{Data, Origin, Session},
};

/// A margin from which a lost downlink is no longer ordinary, in dB.
const SOUND_MARGIN_DB: f32 = 10.0;

/// Sessions that began with the accepts of an attempt.
fn sessions_of<'a>(case: &Case<'a>, index: usize) -> impl Iterator<Item = &'a Session> {
    case.node
        .sessions
        .iter()
        .filter(move |s| matches!(s.origin, Origin::Accept { attempt, .. } if attempt == index))
}

/// Data of a session's address that authenticates under no key on hand.
fn unverified<'a>(case: &Case<'a>, session: &Session) -> Vec<&'a DataFrame> {
    let addr = session.dev_addr;
    case.node
        .unverified
        .iter()
        .filter(|data| matches!(data, Data::Up { .. }))
        .map(Data::frame)
        .filter(|frame| frame.dev_addr == addr)
        .collect()
}

/// What the rungs below the last say of the node's receiving.
#[derive(Debug)]
pub(in crate::ladder) struct Deaf {
    /// By what its console or its gateways show, of every attempt.
    always: bool,
    /// The attempts whose good accepts it did not take.
    not_taken: Vec<usize>,
}

impl Deaf {
    pub(in crate::ladder) fn of(case: &Case<'_>) -> Self {
        let always = late_windows(case).is_some()
            || windows_elsewhere(case).is_some()
            || !through_the_far(case).is_empty();
        Self { always, not_taken: not_taken_at(case) }
    }

    fn at(&self, attempt: usize) -> bool {
        self.always || self.not_taken.contains(&attempt)
    }
}

/// Judges an attempt, after the rungs below are judged of every attempt.
pub(in crate::ladder) fn judge(case: &Case<'_>, index: usize) -> Judgement {
    judge_one(case, index, case.deaf().at(index))
}

/// `deaf`: the accepts were good, and the node asks again instead of sending data.
fn judge_one(case: &Case<'_>, index: usize, deaf: bool) -> Judgement {
    let mut told = None;
    let mut any = false;
    for session in sessions_of(case, index) {
        any = true;
        let lawful = session
            .uplinks()
            .filter(|(seen, _)| session.candidate_of(seen).is_some_and(|c| c.lawful))
            .collect::<Vec<_>>();
        if let Some((seen, _)) = lawful.first() {
            let rule = session.candidate_of(seen).map_or("", |c| c.rule.name());
            let mut words = format!(
                "{}: {} of DevAddr {} {} under the keys derived by the {rule} rule",
                place(seen.data.line(), seen.data.at()),
                count(lawful.len() + session.forgotten_up, "uplink"),
                session.dev_addr,
                if lawful.len() == 1 { "authenticates" } else { "authenticate" },
            );
            if lawful.iter().any(|(seen, _)| seen.held.half) {
                words.push_str(" (of some only the forwarding half of the MIC could be checked)");
            }
            return Judgement::proven(words);
        }
        if let Some((seen, _)) = session.uplinks().next() {
            let rule = session.candidate_of(seen).map_or("", |c| c.rule.name());
            told = Some(Judgement::broken(format!(
                "{}: data of DevAddr {} authenticates, but only under keys of the {rule} rule, \
                 which the accept does not ask for",
                seen.data.line(),
                session.dev_addr
            )));
            continue;
        }
        let failing = unverified(case, session);
        if !failing.is_empty() {
            told = Some(Judgement::broken(format!(
                "{} of DevAddr {} {} under no key derived from this accept",
                count(failing.len(), "uplink"),
                session.dev_addr,
                if failing.len() == 1 { "authenticates" } else { "authenticate" },
            )));
        }
    }
    if let Some(told) = told {
        return told;
    }
    if !any {
        return Judgement::unknown("no accept that opens, and with it no session to prove");
    }
    if led_away(case, index) {
        return Judgement::broken(
            "nothing of the new DevAddr came: the accept's CFList opens channels that the gateway \
             does not hear",
        );
    }
    if deaf {
        return Judgement::broken("no data of the new DevAddr: the node asks again instead");
    }
    if let Some(words) = data_filter(case, index) {
        return Judgement::broken(words);
    }
    let words = if case.asks_again(index) {
        "no data of the new DevAddr; the node asks again"
    } else {
        "no data of the new DevAddr in the capture yet"
    };
    Judgement::unknown(words)
}
