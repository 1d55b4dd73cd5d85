//! Accepts that no key of the node opens as the answer to their request: made for another attempt,
//! by another rule, or under another key.

use super::node_opening;
use crate::{
    crypto::{
        cipher::{self, AcceptKey},
        derive,
        mic::{JoinReqType, Signer},
    },
    explore::misreading::{self, AcceptCase, Asked},
    id::DevNonce,
    key::NwkKey,
    ladder::{
        join::{Case, accepts},
        subject::LabelledRoot,
    },
    trace::{Answer, Attempt},
};

/// Accepts that a node with a known key cannot open.
pub(in crate::ladder) fn closed<'a>(case: &Case<'a>) -> Vec<(&'a Attempt, &'a Answer)> {
    let mut out = accepts::unacceptable(case);
    out.retain(|(attempt, answer)| {
        attempt.holds_under.iter().any(|key| case.is_own(key))
            && answer.sealed.is_whole()
            && node_opening(case, attempt, answer).is_none()
    });
    out
}

/// An accept that opens as the answer to another request than the one that it was handed out for.
#[derive(Clone, Copy, Debug)]
pub(in crate::ladder) struct Elsewhere<'a> {
    /// The request in whose window it was aimed.
    pub(in crate::ladder) attempt: &'a Attempt,
    pub(in crate::ladder) answer: &'a Answer,
    pub(in crate::ladder) made_for: MadeFor<'a>,
}

/// The request that an accept answers.
#[derive(Clone, Copy, Debug)]
pub(in crate::ladder) enum MadeFor<'a> {
    /// One of the capture.
    Heard(&'a Attempt),
    /// One that the capture does not have, by its DevNonce.
    Unheard(u16),
}

/// The accepts made for another attempt of the node.
pub(in crate::ladder) fn for_another_attempt<'a>(case: &Case<'a>) -> Vec<Elsewhere<'a>> {
    let mut closed = accepts::unacceptable(case);
    closed.retain(|(_, answer)| answer.openings.is_empty() && answer.sealed.is_whole());
    let heard = closed.iter().filter_map(|&(attempt, answer)| {
        let mut others = case.node.attempts.iter().filter(|o| o.line() != attempt.line());
        let other = others.rfind(|other| case.opens_as_answer_to(other, &answer.sealed))?;
        Some(Elsewhere { attempt, answer, made_for: MadeFor::Heard(other) })
    });
    let heard: Vec<_> = heard.collect();
    if !heard.is_empty() {
        return heard;
    }
    let unheard = closed.into_iter().take(UNHEARD_TRIALS).filter_map(|(attempt, answer)| {
        let made_for = MadeFor::Unheard(nonce_of(case, attempt, answer)?);
        Some(Elsewhere { attempt, answer, made_for })
    });
    unheard.collect()
}

/// Accepts on which every DevNonce is tried.
const UNHEARD_TRIALS: usize = 3;

/// The DevNonce with which an accept's MIC holds by the 1.1 rule under a key of this node.
fn nonce_of(case: &Case<'_>, attempt: &Attempt, answer: &Answer) -> Option<u16> {
    let (dev_eui, join_eui) = (attempt.ask.dev_eui()?, attempt.ask.join_eui()?);
    case.known_roots().iter().find_map(|root| {
        let root = NwkKey::from(root.as_known().key.clone());
        let accept = cipher::open_join_accept(AcceptKey::join(&root), &answer.sealed)?.accept;
        // Only the 1.1 rule has the DevNonce in its MIC.
        if !accept.dl_settings.opt_neg() {
            return None;
        }
        let mut signer = Signer::new(derive::js_int_key(&root, dev_eui).key());
        let (asked, eui, fields) =
            ([JoinReqType::Join.octet()], join_eui.to_wire(), accept.signed());
        (0..=u16::MAX).find(|nonce| {
            signer.mic(&[&asked, &eui, &DevNonce(*nonce).to_wire(), &fields]) == accept.mic
        })
    })
}

/// Accepts that are explored for a misread rule.
const EXPLORED: usize = 8;

/// The mistake that explains every accept that opens under no key, if one does.
pub(in crate::ladder) fn misread(
    case: &Case<'_>,
    closed: &[(&Attempt, &Answer)],
) -> Option<misreading::Finding> {
    let roots = case.known_roots();
    let roots: Vec<_> = roots.iter().map(LabelledRoot::as_known).collect();
    let mut shared: Option<misreading::Finding> = None;
    for (attempt, answer) in closed.iter().filter(|(_, a)| a.openings.is_empty()).take(EXPLORED) {
        let asked: Vec<Asked> = std::iter::once(*attempt)
            .chain(case.node.attempts.iter().rev().filter(|a| a.line() != attempt.line()))
            .filter_map(|a| a.ask.join())
            .take(EXPLORED)
            .map(Asked::from)
            .collect();
        let explored = misreading::explore_accept(&AcceptCase {
            sealed: &answer.sealed,
            asked: &asked,
            roots: &roots,
            dev_eui: attempt.ask.dev_eui()?,
            join_eui: attempt.ask.join_eui()?,
        });
        let found = explored.findings().first()?.clone();
        match &mut shared {
            None => shared = Some(found),
            Some(shared) if shared.mistakes == found.mistakes => {
                shared.held += found.held;
                shared.odds *= found.odds;
            }
            Some(_) => return None,
        }
    }
    shared
}
