//! Rung 3, identified: DevEUI and JoinEUI are the ones on record.
//!
//! The MIC is the witness here: it covers the EUIs as sent, so that it holds under the right key
//! even when an EUI is backwards or mistyped.

mod pair;

use crate::{
    fact::{Fact, fact},
    ladder::{join::Case, rung::Judgement},
    roster::{Claim, ClaimKind},
};

pub(in crate::ladder) use pair::{Pair, are_swapped};

/// The claim that the server goes by, or the one that stands in for it.
fn reference<'a>(case: &Case<'a>) -> Option<(ClaimKind, &'a Claim)> {
    let entry = case.entry?;
    [ClaimKind::Record, ClaimKind::Label, ClaimKind::Firmware].into_iter().find_map(|kind| {
        let claim = entry.claim(kind)?;
        (claim.dev_eui.is_some() || claim.join_eui.is_some()).then_some((kind, claim))
    })
}

pub(in crate::ladder) fn judge(case: &Case<'_>, index: usize) -> Judgement {
    let Some(attempt) = case.node.attempts.get(index) else { return Judgement::open() };
    let Some((kind, claim)) = reference(case) else {
        return Judgement::unknown(match case.entry {
            Some(_) => "the roster states no EUI for this node",
            None => "this node is on no roster",
        });
    };
    let on = kind.name();
    let mut wrong = Vec::new();
    let mut right = Vec::new();
    if let (Some(sent), Some(own)) = (attempt.ask.dev_eui(), claim.dev_eui) {
        if sent == own {
            right.push(fact!("DevEUI {dev_eui}", dev_eui = sent));
        } else {
            wrong.push(fact!(
                "DevEUI sent {dev_eui}, on {claim} {claimed_dev_eui}",
                dev_eui = sent,
                claim = on,
                claimed_dev_eui = own
            ));
        }
    }
    if let (Some(sent), Some(own)) = (attempt.ask.join_eui(), claim.join_eui) {
        let differs = fact!(
            "JoinEUI sent {join_eui}, on {claim} {claimed_join_eui}",
            join_eui = sent,
            claim = on,
            claimed_join_eui = own
        );
        if sent == own {
            right.push(fact!("JoinEUI {join_eui}", join_eui = sent));
        } else if attempt.answers.is_empty() {
            wrong.push(differs);
        } else {
            right.push(fact!("{differs}; the server answered all the same", differs));
        }
    }
    match (wrong.is_empty(), right.is_empty()) {
        (false, _) => Judgement::broken(Fact::joined(wrong, "; ")),
        (true, false) => Judgement::proven(fact!(
            "{identity} as on {claim}",
            identity = Fact::joined(right, ", "),
            claim = on
        )),
        (true, true) => Judgement::unknown("nothing on record to compare with"),
    }
}
