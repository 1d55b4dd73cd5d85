//! Rung downlink_open of a gateway's ladder.

use super::Case;
use crate::ladder::rung::Judgement;

pub(super) fn judge(_: &Case<'_>, _: usize) -> Judgement {
    Judgement::open()
}
