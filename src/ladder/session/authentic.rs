//! Rung 2, authentic: the uplinks verify under the session's keys.

use super::{Case, keys, strays};
use crate::{
    fact::{Value, fact},
    ladder::rung::Judgement,
    trace::Data,
};

pub(super) fn judge(case: &Case<'_>, session: usize) -> Judgement {
    let Some(story) = case.story(session) else { return Judgement::open() };
    let session = story.session;
    if let Some(wrong) = keys::network_key(case, story) {
        return Judgement::broken(wrong.words());
    }
    if let Some(other) = strays::address_typed_wrong(case, story) {
        return Judgement::broken(other.words());
    }
    let half = session.uplinks().filter(|(seen, _)| seen.held.half).count();
    let held = session.uplinks().count() + session.forgotten_up;
    if held > 0 && half == held && held >= 2 {
        return Judgement::unknown(fact!(
            "of {uplinks} of DevAddr {dev_addr} the half of the MIC under FNwkSIntKey holds, the other one \
             under no ConfFCnt, TxDr and TxCh that was tried",
            uplinks = Value::Count(held as u64, "uplink"),
            dev_addr = session.dev_addr
        ));
    }
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
