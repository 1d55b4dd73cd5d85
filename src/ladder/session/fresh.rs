//! Rung 3, fresh: the counters rise, both ways.

use super::{Case, counting};
use crate::{
    fact::{Value, fact},
    ladder::rung::Judgement,
    trace::Data,
};

pub(super) fn judge(case: &Case<'_>, session: usize) -> Judgement {
    let Some(story) = case.story(session) else { return Judgement::open() };
    let turns = story.turns();
    let (Some(first), Some(last)) = (turns.first(), turns.last()) else {
        return Judgement::unknown("no uplink of the session is in the capture");
    };
    if turns.iter().any(|turn| turn.fell) || counting::fall(story.session).is_some() {
        return Judgement::unknown(
            "FCnt does not rise with every new uplink: repeats, or frames that overtook one another",
        );
    }
    if turns.len() < 2 {
        return Judgement::unknown(fact!(
            "{uplink}: FCnt {fcnt} is the only one",
            uplink = story.cite(first.first()),
            fcnt = first.fcnt
        ));
    }
    if let Some(back) = counting::downs_back(story).first() {
        return Judgement::unknown(fact!(
            "{downlink}: FCntDown {fcnt} is not above {before}",
            downlink = story.cite(back.down),
            fcnt = back.fcnt,
            before = back.before.1
        ));
    }
    let downs = story.session.frames.iter().filter(|seen| matches!(seen.data, Data::Down { .. }));
    Judgement::proven(fact!(
        "FCnt rises from {first_fcnt} to {fcnt} in {uplinks}; {downlinks} count on as well",
        first_fcnt = first.fcnt,
        fcnt = last.fcnt,
        uplinks = Value::Count(turns.len() as u64, "uplink"),
        downlinks = Value::Count(downs.count() as u64, "downlink")
    ))
}
