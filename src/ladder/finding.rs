//! What a cause's check finds, and the verdict that it becomes.

use crate::fact::{Certainty, Fact};

/// What a check found.
#[derive(Clone, Debug)]
pub(in crate::ladder) struct Finding {
    pub(in crate::ladder) certainty: Certainty,
    /// The probability that the evidence matches by chance, where a MIC was checked.
    pub(in crate::ladder) false_match: Option<f64>,
    pub(in crate::ladder) summary: Fact,
    pub(in crate::ladder) evidence: Vec<Fact>,
    pub(in crate::ladder) remedy: Fact,
    /// Whether no rung breaks by it: all works, and it is wrong all the same.
    pub(in crate::ladder) caution: bool,
}

impl Finding {
    pub(in crate::ladder) fn new(
        certainty: Certainty,
        summary: impl Into<Fact>,
        remedy: impl Into<Fact>,
    ) -> Self {
        Self {
            certainty,
            false_match: None,
            summary: summary.into(),
            evidence: Vec::new(),
            remedy: remedy.into(),
            caution: false,
        }
    }

    pub(in crate::ladder) fn add(&mut self, evidence: impl Into<Fact>) {
        self.evidence.push(evidence.into());
    }

    pub(in crate::ladder) fn and(mut self, evidence: impl Into<Fact>) -> Self {
        self.evidence.push(evidence.into());
        self
    }

    /// States the probability that MICs match by chance: `tried` candidates, `frames` frames of 32
    /// bits.
    pub(in crate::ladder) fn matched_by_chance(mut self, tried: f64, frames: usize) -> Self {
        // 32 frames of 32 bits are far below what a number of the contract can tell.
        let bits = -32.0 * f64::from(u32::try_from(frames).unwrap_or(32).min(32));
        self.false_match = Some(tried * bits.exp2());
        self
    }
}
