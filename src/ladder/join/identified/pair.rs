//! An identifier as sent and as claimed, where the two differ: what every cause of this rung looks at.

use super::reference;
use crate::{
    explore::near_miss::{self, EuiName, Mistake},
    fact::{Certainty, Fact, Value, fact},
    id::Eui64,
    ladder::{
        finding::Finding,
        join::{Case, Rung},
    },
    roster::{Claim, ClaimKind},
    trace::Attempt,
};

fn sent(attempt: &Attempt, name: EuiName) -> Option<Eui64> {
    match name {
        EuiName::DevEui => attempt.ask.dev_eui().map(|eui| eui.0),
        EuiName::JoinEui => attempt.ask.join_eui().map(|eui| eui.0),
    }
}

fn claimed(claim: &Claim, name: EuiName) -> Option<Eui64> {
    match name {
        EuiName::DevEui => claim.dev_eui.map(|eui| eui.0),
        EuiName::JoinEui => claim.join_eui.map(|eui| eui.0),
    }
}

/// An identifier, sent and claimed, where they differ.
#[derive(Debug)]
pub(in crate::ladder) struct Pair<'a> {
    name: EuiName,
    kind: ClaimKind,
    sent: Eui64,
    own: Eui64,
    /// Attempts that carry it.
    attempts: Vec<&'a Attempt>,
    /// Whether their MICs hold under a key of this node.
    authentic: bool,
}

impl<'a> Pair<'a> {
    /// The first wrong value that the node sends for an identifier.
    pub(in crate::ladder) fn of(case: &Case<'a>, name: EuiName) -> Option<Self> {
        let (kind, claim) = reference(case)?;
        let own = claimed(claim, name)?;
        let broken: Vec<_> = case
            .broken_at(Rung::Identified)
            .map(|(_, attempt)| attempt)
            .filter(|attempt| sent(attempt, name).is_some_and(|sent| sent != own))
            .collect();
        let first = sent(broken.first()?, name)?;
        let attempts: Vec<_> =
            broken.into_iter().filter(|attempt| sent(attempt, name) == Some(first)).collect();
        let authentic = attempts.iter().all(|a| a.holds_under.iter().any(|key| case.is_own(key)));
        Some(Self { name, kind, sent: first, own, attempts, authentic })
    }

    /// What is said of it: `how` ends a sentence that begins `the DevEUI sent is`.
    pub(in crate::ladder) fn finding(
        &self,
        identifier: &'static str,
        how: impl Into<Fact>,
        remedy: impl Into<Fact>,
    ) -> Finding {
        let certainty = if self.authentic { Certainty::Certain } else { Certainty::Likely };
        let mut finding = Finding::new(
            certainty,
            fact!(
                "the {identifier} sent is {how}: sent {sent}, on {claim} {claimed}",
                identifier,
                how = how.into(),
                sent = self.sent,
                claim = self.kind.name(),
                claimed = self.own
            ),
            remedy,
        );
        finding.add(fact!("sent {sent}", sent = self.sent));
        finding.add(fact!("on {claim} {claimed}", claim = self.kind.name(), claimed = self.own));
        if self.authentic {
            let mut fact = fact!(
                "the MIC of {requests} holds under this node's key over the EUI as sent: the frame \
                 is this node's",
                requests = Value::count(self.attempts.len(), "request")
            );
            for attempt in &self.attempts {
                fact = fact.at(*attempt);
            }
            finding.add(fact);
            finding = finding.matched_by_chance(1.0, self.attempts.len());
        } else {
            finding.add("no key on the roster verifies the MIC: the likeness is all the evidence");
        }
        finding
    }

    /// What is wrong where the bytes are in reverse order.
    pub(in crate::ladder) fn reversed(&self, case: &Case<'_>) -> Option<Finding> {
        if self.own.bytes_reversed() != self.sent || are_swapped(case) {
            return None;
        }
        let identifier = self.name.name();
        Some(self.finding(
            identifier,
            fact!("the one on {claim} read backwards, byte by byte", claim = self.kind.name()),
            fact!(
                "reverse the bytes of the {identifier} in the node's firmware, so that it sends \
                 {claimed} (it travels least significant byte first); or register {sent}",
                identifier,
                claimed = self.own,
                sent = self.sent
            ),
        ))
    }

    /// What is wrong where a typing error makes the one of the other.
    pub(in crate::ladder) fn typed(&self, case: &Case<'_>) -> Option<Finding> {
        if are_swapped(case) || self.own.bytes_reversed() == self.sent {
            return None;
        }
        let (identifier, claim) = (self.name.name(), self.kind.name());
        let how = typing_error(self.sent, self.own)?.of_eui(&format!("the {claim}'s {identifier}"));
        let mut finding = self.finding(
            identifier,
            fact!("a typing error away from the one on {claim}", claim),
            fact!(
                "correct the {identifier} on {claim} to what the node sends, or reset the node's \
                 stored copy, whichever differs from the label",
                identifier,
                claim
            ),
        );
        finding.summary = fact!("{what}; {how}", what = finding.summary, how);
        Some(finding)
    }
}

/// Whether the node sends each identifier where the other belongs.
pub(in crate::ladder) fn are_swapped(case: &Case<'_>) -> bool {
    let pair = |name| Pair::of(case, name);
    let (Some(dev), Some(join)) = (pair(EuiName::DevEui), pair(EuiName::JoinEui)) else {
        return false;
    };
    let (a, b) = (dev.own, join.own);
    a != b
        && ((dev.sent == b && join.sent == a)
            || (dev.sent == b.bytes_reversed() && join.sent == a.bytes_reversed()))
}

/// The typing error, if any, that turns a claimed EUI into the one sent.
fn typing_error(sent: Eui64, own: Eui64) -> Option<Mistake> {
    near_miss::eui_relation(sent, own)
        .filter(|m| !matches!(m, Mistake::Same | Mistake::OctetsReversed))
}
