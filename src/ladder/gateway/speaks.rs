//! Rung 1, speaks: datagrams or station messages of the gateway are in the capture.

use super::Case;
use crate::{
    fact::{Value, fact},
    ladder::rung::Judgement,
};

pub(super) fn judge(case: &Case<'_>, _: usize) -> Judgement {
    let Some(gateway) = case.heard else {
        return Judgement::unknown("nothing of it is in the capture");
    };
    match gateway.counts.sent() {
        0 => Judgement::unknown("nothing that it sent is in the capture"),
        n => Judgement::proven(fact!("{datagrams} of it", datagrams = Value::Count(n, "datagram"))),
    }
}
