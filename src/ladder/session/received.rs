//! Rung 9, received: the node shows that it got the downlinks.

use super::Case;
use crate::{
    fact::{Value, fact},
    ladder::rung::Judgement,
};

pub(super) fn judge(case: &Case<'_>, session: usize) -> Judgement {
    let Some(story) = case.story(session) else { return Judgement::open() };
    let all: Vec<usize> = story
        .turns()
        .iter()
        .flat_map(|turn| story.downs_of(turn))
        .filter(|place| story.in_use(*place))
        .collect();
    if all.is_empty() {
        return Judgement::unknown("no downlink of the session was sent in the capture");
    }
    let shown = |place: &usize| story.shown.get(*place).copied().unwrap_or_default();
    let received = all.iter().filter(|place| shown(place).is_received()).count();
    let missed = all.iter().filter(|place| shown(place).is_missed()).count();
    let last = all.iter().rev().map(shown).find(|shown| shown.is_received() || shown.is_missed());
    if received > 0 && last.is_some_and(super::Shown::is_received) {
        return Judgement::proven(fact!(
            "the node shows that it received {downlinks} of {all}: ACK, or answers to commands",
            downlinks = Value::Count(received as u64, "downlink"),
            all = all.len()
        ));
    }
    if missed > 0 {
        return Judgement::unknown(fact!(
            "the node shows that it missed {downlinks} of {all}: no ACK, or a repeat",
            downlinks = Value::Count(missed as u64, "downlink"),
            all = all.len()
        ));
    }
    Judgement::unknown(fact!(
        "{downlinks}, and none that a node has to answer",
        downlinks = Value::Count(all.len() as u64, "downlink")
    ))
}
