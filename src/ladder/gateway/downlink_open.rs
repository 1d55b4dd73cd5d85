//! Rung 4, downlink-open: the gateway asks for downlinks, and the server answers.

use super::Case;
use crate::{
    fact::{Value, fact},
    ladder::rung::Judgement,
};

pub(super) fn judge(case: &Case<'_>, _: usize) -> Judgement {
    let Some(gateway) = case.heard else { return Judgement::open() };
    let (asked, answered) = (gateway.counts.pull_data, gateway.counts.pull_ack);
    if gateway.downlink_is_closed() {
        return Judgement::broken(fact!(
            "{unanswered} PULL_DATA without a PULL_ACK, while PUSH_DATA is acknowledged",
            unanswered = gateway.pulls_unanswered()
        ));
    }
    if asked > 0 && answered > 0 {
        return Judgement::proven(fact!(
            "{pull_data} PULL_DATA, {pull_ack} PULL_ACK",
            pull_data = Value::from(asked),
            pull_ack = Value::from(answered)
        ));
    }
    Judgement::unknown(
        "PULL_DATA, or the server's side of the downlink flow, is not in the capture",
    )
}
