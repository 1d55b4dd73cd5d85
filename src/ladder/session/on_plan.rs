//! Rung 4, on-plan: channels, data rates, sizes and dwell time are those in force.

pub(in crate::ladder) mod frames;

use super::Case;
use crate::{
    fact::{Value, fact},
    ladder::rung::Judgement,
};

pub(super) fn judge(case: &Case<'_>, session: usize) -> Judgement {
    let Some(story) = case.story(session) else { return Judgement::open() };
    let Some(plan) = story.plan else {
        return Judgement::unknown("nobody states the region");
    };
    if story.turns().is_empty() {
        return Judgement::unknown("no uplink of the session is in the capture");
    }
    let all = frames::all(story, plan);
    let held = all.iter().filter(|frame| frame.is_on_plan == Some(true)).count();
    let off = all.iter().find(|frame| frame.is_on_plan == Some(false));
    if let Some(off) = off {
        return Judgement::unknown(fact!(
            "{uplink}: {frequency} at {data_rate} is not a channel of the node, as far as the capture \
             shows them",
            uplink = story.cite(off.place),
            frequency = Value::Frequency(off.hz),
            data_rate = off.rate
        ));
    }
    if held == 0 {
        return Judgement::unknown(
            "frequencies and data rates, or the channels of the node, are not in the capture",
        );
    }
    Judgement::proven(fact!(
        "{uplinks} on the node's channels, at data rates that they allow",
        uplinks = Value::Count(held as u64, "uplink")
    ))
}
