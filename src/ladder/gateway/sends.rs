//! Rung 8, sends: downlinks that the gateway is ordered to send are taken and transmitted.

use super::Case;
use crate::{
    fact::{Value, fact},
    intake::TxError,
    ladder::rung::Judgement,
    trace::{Data, Sending},
};

/// So many refusals of one power are the gateway's setting, and no accident.
const REFUSED_FOR_GOOD: usize = 3;

pub(super) fn judge(case: &Case<'_>, _: usize) -> Judgement {
    let refused = refused_power(case).len();
    if refused > 0 {
        return Judgement::broken(fact!(
            "{downlinks} refused with TX_POWER, and none of that power taken",
            downlinks = Value::count(refused, "downlink")
        ));
    }
    let orders = orders(case);
    match orders.iter().filter(|sending| sending.taken()).count() {
        0 if orders.is_empty() => Judgement::unknown("no downlink for it is in the capture"),
        0 => Judgement::unknown(fact!(
            "{downlinks} for it, and none known to be taken",
            downlinks = Value::count(orders.len(), "downlink")
        )),
        taken => Judgement::proven(fact!(
            "{downlinks} taken for transmission",
            downlinks = Value::count(taken, "downlink")
        )),
    }
}

/// Every downlink that the gateway was ordered to send.
fn orders<'a>(case: &Case<'a>) -> Vec<&'a Sending> {
    let data = |data: &'a Data| match data {
        Data::Down { sending, .. } => Some(sending),
        Data::Up { .. } => None,
    };
    let of_node = |node: &'a crate::trace::NodeTrace| {
        let accepts = node.attempts.iter().flat_map(|a| &a.answers).map(|answer| &answer.sending);
        let frames = node.sessions.iter().flat_map(|session| &session.frames);
        let frames = frames.filter_map(move |seen| data(&seen.data));
        accepts.chain(frames).chain(node.unverified.iter().filter_map(data))
    };
    let strays = case.trace.stray_accepts.iter().map(|stray| &stray.sending);
    let all = case.trace.nodes.iter().flat_map(of_node).chain(strays);
    all.filter(|sending| sending.gateway == case.eui).collect()
}

/// The downlinks refused for a power at which the gateway took none.
pub(in crate::ladder) fn refused_power<'a>(case: &Case<'a>) -> Vec<&'a Sending> {
    let orders = orders(case);
    let mut refused: Vec<_> =
        orders.iter().filter(|s| s.refusal() == Some(&TxError::TxPower)).copied().collect();
    refused.retain(|refused| {
        !orders.iter().any(|other| other.taken() && other.power_dbm == refused.power_dbm)
    });
    if refused.len() >= REFUSED_FOR_GOOD { refused } else { Vec::new() }
}
