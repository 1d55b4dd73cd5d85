//! Rung 2, authentic: the uplinks verify under the session's keys.

use super::Case;
use crate::{
    fact::{Value, fact},
    ladder::rung::Judgement,
    trace::Data,
};

pub(in crate::ladder) fn judge(case: &Case<'_>, session: usize) -> Judgement {
    let Some(session) = case.session(session) else { return Judgement::open() };
    let held = session.uplinks().count() + session.forgotten_up;
    if held > 0 {
        return Judgement::proven(fact!(
            "{uplinks} of DevAddr {dev_addr} verified",
            uplinks = Value::Count(held as u64, "uplink"),
            dev_addr = session.dev_addr
        ));
    }
    let own = |data: &&Data| data.heard().is_some() && data.frame().dev_addr == session.dev_addr;
    match case.node.unverified.iter().filter(own).count() {
        0 => Judgement::unknown("no uplink of the session is in the capture"),
        n => Judgement::broken(fact!(
            "{uplinks} of DevAddr {dev_addr}, and the MIC of none holds under the session's keys",
            uplinks = Value::Count(n as u64, "uplink"),
            dev_addr = session.dev_addr
        )),
    }
}
