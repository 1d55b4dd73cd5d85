//! A cause at work, as found on one ladder.

use super::{
    cause::{Cause, Place},
    finding::Finding,
};
use crate::fact::{Certainty, Fact};

/// A cause that was found to be at work.
#[derive(Clone, Debug)]
pub struct Verdict {
    /// The cause.
    pub cause: &'static Cause,
    /// The ladder and rung that it breaks here.
    pub place: Place,
    /// How sure this is.
    pub certainty: Certainty,
    /// The probability that the evidence matches by chance: that a key or a rule found fits by
    /// accident. `None` where nothing was searched: what is read off numbers is no accident.
    pub false_match: Option<f64>,
    /// What is wrong, of this node or gateway.
    pub summary: Fact,
    /// What shows it.
    pub evidence: Vec<Fact>,
    /// What to do.
    pub remedy: Fact,
    /// Whether no rung breaks by it: all works, and it is wrong all the same.
    pub caution: bool,
    /// The sessions whose ladder it breaks, by their places in the node's; none for a cause of another
    /// ladder.
    pub sessions: Vec<usize>,
}

impl Verdict {
    pub(super) fn new(cause: &'static Cause, place: Place, finding: Finding) -> Self {
        let Finding { certainty, false_match, summary, evidence, remedy, caution } = finding;
        let sessions = Vec::new();
        Self { cause, place, certainty, false_match, summary, evidence, remedy, caution, sessions }
    }
}
