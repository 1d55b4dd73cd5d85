//! Accepts made for a request that the capture does not have.

use crate::{
    crypto::{
        cipher::{self, AcceptKey},
        derive,
        mic::{JoinReqType, Signer},
    },
    fact::Certainty,
    id::DevNonce,
    key::NwkKey,
    ladder::{finding::Finding, join::Case},
    trace::{Answer, Attempt},
};

/// Accepts that open for a DevNonce of which the capture has no request.
pub(in crate::ladder) fn unheard_attempt(
    case: &Case<'_>,
    closed: &[(&Attempt, &Answer)],
) -> Option<Finding> {
    let found: Vec<(&Attempt, &Answer, u16)> = closed
        .iter()
        .take(UNHEARD_TRIALS)
        .filter_map(|(attempt, answer)| Some((*attempt, *answer, nonce_of(case, attempt, answer)?)))
        .collect();
    let &(attempt, _, nonce) = found.first()?;
    let certainty = if found.len() > 1 { Certainty::Certain } else { Certainty::Likely };
    let mut finding = Finding::new(
        certainty,
        format!(
            "the accept handed out for DevNonce {} is made for DevNonce {nonce}, of a request that \
             the capture does not have: the server answers another attempt",
            attempt.nonce()
        ),
        "capture at every gateway that hears the node; if the other request was earlier, find out \
         why the server is late, and have it drop an answer whose windows are past",
    );
    for (_, answer, nonce) in &found {
        finding.add(format!("{}: its MIC holds with DevNonce {nonce}", answer.sending.line));
    }
    Some(finding.matched_by_chance(65_536.0, found.len()))
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
