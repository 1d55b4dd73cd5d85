//! Rung 1, heard: uplinks of the session reach a gateway.

use super::{Case, losses};
use crate::{
    fact::{Cite, Value, fact},
    ladder::rung::Judgement,
    trace::Data,
};

pub(super) fn judge(case: &Case<'_>, session: usize) -> Judgement {
    let Some(story) = case.story(session) else { return Judgement::open() };
    let session = story.session;
    let own = || session.uplinks().map(|(_, heard)| heard);
    let failing =
        case.node.unverified.iter().filter(|data| data.frame().dev_addr == session.dev_addr);
    let first = own().next().or_else(|| failing.clone().find_map(Data::heard));
    let Some(first) = first else {
        return Judgement::unknown("no uplink of the session is in the capture");
    };
    let failing = failing.filter(|data| data.heard().is_some()).count();
    let n = own().count() + session.forgotten_up + failing;
    let mut judgement = Judgement::proven(fact!(
        "{first}: the first of {uplinks}",
        first = Cite::from(first.first()).with_time(),
        uplinks = Value::Count(n as u64, "uplink")
    ));
    if let Some(last) = story.turns().len().checked_sub(1)
        && let Some(margin) = losses::median(&losses::margins(story, 0, last))
    {
        let losses = losses::between(story, 0, last);
        judgement.add(fact!(
            "{came} of {sent} by FCnt, half of them {margin} or more above the demodulation floor",
            came = losses.came,
            sent = losses.sent,
            margin = Value::Db(margin.into())
        ));
    }
    judgement
}
