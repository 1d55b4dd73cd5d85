//! Rung fresh of the session ladder.

use super::Case;
use crate::ladder::rung::Judgement;

pub(super) fn judge(_: &Case<'_>, _: usize) -> Judgement {
    Judgement::open()
}
