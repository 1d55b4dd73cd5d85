//! Rung 6, answered: what asks for an answer gets one.

pub(in crate::ladder) mod asks;

use super::{Case, reach};
use crate::{
    fact::{Value, fact},
    ladder::rung::Judgement,
};

pub(super) fn judge(case: &Case<'_>, session: usize) -> Judgement {
    let Some(story) = case.story(session) else { return Judgement::open() };
    let asked = asks::all(story);
    if asked.is_empty() {
        return Judgement::unknown("nothing in the uplinks asks for an answer");
    }
    let answered = asked.iter().filter(|ask| ask.answered.is_some()).count();
    let open = asked.len() - answered;
    if open == 0 || answered > 0 && asked.last().is_some_and(|ask| ask.answered.is_some()) {
        return Judgement::proven(fact!(
            "{requests} of {all} answered: ACK, LinkCheckAns, DeviceTimeAns and the like",
            requests = Value::Count(answered as u64, "request"),
            all = asked.len()
        ));
    }
    if !reach::both_ways(case, story) {
        return Judgement::unknown(fact!(
            "{requests} without an answer; what the server sends is not in the capture, or not all of it",
            requests = Value::Count(open as u64, "request")
        ));
    }
    Judgement::unknown(fact!(
        "{requests} of {all} without an answer",
        requests = Value::Count(open as u64, "request"),
        all = asked.len()
    ))
}
