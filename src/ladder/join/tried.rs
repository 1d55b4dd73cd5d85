//! One Join-Accept against rungs 7, 8 and 9: they hold for the same accept, or they do not hold.

use super::Rung;
use crate::{
    ladder::rung::{Judgement, State},
    trace::Answer,
};

/// An accept as it was handed to a gateway, and what rungs 7 to 9 make of it.
#[derive(Debug)]
pub(in crate::ladder) struct Tried<'a> {
    pub(in crate::ladder) answer: &'a Answer,
    pub(in crate::ladder) timely: Judgement,
    pub(in crate::ladder) sent: Judgement,
    pub(in crate::ladder) acceptable: Judgement,
}

impl Tried<'_> {
    /// What one of these three rungs makes of it.
    pub(in crate::ladder) const fn of_rung(&self, rung: Rung) -> Option<&Judgement> {
        match rung {
            Rung::Timely => Some(&self.timely),
            Rung::Sent => Some(&self.sent),
            Rung::Acceptable => Some(&self.acceptable),
            _ => None,
        }
    }

    /// Whether both are one accept, perhaps handed out twice.
    pub(in crate::ladder) fn is_same(&self, other: &Answer) -> bool {
        self.answer.sending.octets == other.sending.octets
    }

    /// Whether nothing shows that it did not go out in a window.
    pub(in crate::ladder) fn reaches(&self) -> bool {
        self.timely.state != State::Broken && self.sent.state != State::Broken
    }

    /// Whether none of the three rungs is broken.
    pub(in crate::ladder) fn passes(&self) -> bool {
        self.reaches() && self.acceptable.state != State::Broken
    }

    /// Whether it passes, and was seen aimed at a window of a node that can open it.
    pub(in crate::ladder) fn is_good(&self) -> bool {
        let proven = |judgement: &Judgement| judgement.state == State::Proven;
        self.passes() && proven(&self.timely) && proven(&self.acceptable)
    }

    /// How high it climbs: to its first broken rung, then by how many rungs are proven.
    pub(in crate::ladder) fn height(&self) -> (usize, usize) {
        let all = [&self.timely, &self.sent, &self.acceptable];
        let broken = all.iter().position(|j| j.state == State::Broken);
        let proven = all.iter().filter(|j| j.state == State::Proven).count();
        (broken.unwrap_or(all.len()), proven)
    }
}
