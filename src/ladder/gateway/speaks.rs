//! Rung 1, speaks: datagrams or station messages of the gateway are in the capture.

use super::Case;
use crate::{
    fact::{Value, fact},
    intake::Kind,
    ladder::rung::Judgement,
};

/// What a gateway itself sends.
const OWN: [Kind; 3] = [Kind::PushData, Kind::PullData, Kind::TxAck];

pub(super) fn judge(case: &Case<'_>, _: usize) -> Judgement {
    let Some(gateway) = case.heard else {
        return Judgement::unknown("nothing of it is in the capture");
    };
    let n: u64 = OWN.into_iter().map(|kind| gateway.count(kind)).sum();
    match n {
        0 => Judgement::unknown("nothing that it sent is in the capture"),
        n => Judgement::proven(fact!("{datagrams} of it", datagrams = Value::Count(n, "datagram"))),
    }
}
