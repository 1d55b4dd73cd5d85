//! Rung 1, heard: uplinks of the session reach a gateway.

use super::Case;
use crate::{
    fact::{Cite, Value, fact},
    ladder::rung::Judgement,
    trace::Data,
};

pub(in crate::ladder) fn judge(case: &Case<'_>, session: usize) -> Judgement {
    let Some(session) = case.session(session) else { return Judgement::open() };
    let own = || session.uplinks().map(|(_, heard)| heard);
    let failing =
        case.node.unverified.iter().filter(|data| data.frame().dev_addr == session.dev_addr);
    let first = own().next().or_else(|| failing.clone().find_map(Data::heard));
    let Some(first) = first else {
        return Judgement::unknown("no uplink of the session is in the capture");
    };
    let failing = failing.filter(|data| data.heard().is_some()).count();
    let n = own().count() + session.forgotten_up + failing;
    Judgement::proven(fact!(
        "{first}: the first of {uplinks}",
        first = Cite::from(first.first()).with_time(),
        uplinks = Value::Count(n as u64, "uplink")
    ))
}
