//! Rung 9, acceptable: the node, with the keys built into it, can decrypt and authenticate the
//! accept, and its fields are valid for the region and version.

pub(in crate::ladder) mod closed;
pub(in crate::ladder) mod terms;

use self::terms::{stale, unfit};
use super::{Case, Rung, accepts};
use crate::{
    fact::{Fact, Value, fact},
    frame::{CfList, CfListType, MacVersion},
    ladder::{rung::Judgement, subject::signing_role},
    roster::ClaimKind,
    trace::{Answer, Attempt, KeyRef, Opening, Rule},
};

/// Evidence of one kind is told of this many accepts.
pub(in crate::ladder) const MOST_TOLD: usize = 4;

pub(in crate::ladder) fn judge(case: &Case<'_>, index: usize) -> Judgement {
    accepts::judge(case, index, Rung::Acceptable, "there is no accept to open")
}

/// What the node makes of one accept.
pub(in crate::ladder) fn of(
    case: &Case<'_>,
    index: usize,
    attempt: &Attempt,
    answer: &Answer,
) -> Judgement {
    let sending = &answer.sending;
    if case.entry.is_none() {
        return Judgement::unknown(fact!(
            "{accept}: no key is known for this node",
            accept = sending
        ));
    }
    let Some(opening) = node_opening(case, attempt, answer) else {
        return unopened(case, attempt, answer);
    };
    let accept = &opening.opened.accept;
    let (key, rule) = (opening.key.to_string(), opening.rule.name());
    match applies(case, opening) {
        Applies::Yes => {}
        Applies::No => {
            return Judgement::broken(fact!(
                "{accept}: opens under {key}, but its MIC follows the {rule} rule with OptNeg \
                 {opt_neg}, and the node is {mac_version}",
                accept = sending,
                key,
                rule,
                opt_neg = u8::from(accept.dl_settings.opt_neg()),
                mac_version = stated_version(case)
            ));
        }
        Applies::ByVersion => {
            return Judgement::unknown(fact!(
                "{accept}: opens under {key} by the {rule} rule with OptNeg {opt_neg}: a 1.0.x node \
                 takes it, a 1.1 node drops it; the roster does not state the node's version",
                accept = sending,
                key,
                rule,
                opt_neg = u8::from(accept.dl_settings.opt_neg())
            ));
        }
    }
    let unfit = unfit(case, accept);
    if !unfit.is_empty() {
        let faults = Fact::joined(unfit, "; ");
        return Judgement::broken(fact!("{accept}: {faults}", accept = sending, faults));
    }
    if let Some(stale) = stale(case, index, accept) {
        let stale = stale.fact();
        return Judgement::broken(fact!("{accept}: {stale}", accept = sending, stale));
    }
    let fields = fact!(
        "{accept}: opens under {key} by the {rule} rule: DevAddr {dev_addr}, JoinNonce {join_nonce} \
         (0x{hex}), NetID {net_id}, {cf_list}",
        accept = sending,
        key,
        rule,
        dev_addr = accept.dev_addr,
        join_nonce = accept.join_nonce.get(),
        hex = accept.join_nonce.to_string(),
        net_id = accept.net_id,
        cf_list = match accept.cf_list.map(CfList::kind) {
            None => "no CFList",
            Some(CfListType::Frequencies) => "CFList of frequencies",
            Some(CfListType::Masks) => "CFList of masks",
            Some(CfListType::Rfu(_)) => "CFList of a reserved type",
        }
    );
    let reserved = accept.dl_settings.opt_neg() && opening.rule == Rule::V1_0;
    if !reserved {
        return Judgement::proven(fields);
    }
    Judgement::proven(fields).and(fact!(
        "{accept}: bit 7 of DLSettings is set; it is reserved for a {mac_version} node, which \
         ignores it",
        accept = sending,
        mac_version = stated_version(case)
    ))
}

/// The node's version as its firmware states it, or else the record.
fn stated_version(case: &Case<'_>) -> &'static str {
    case.node_version().or(case.record_version()).map_or("1.0.x", MacVersion::name)
}

/// The keys that the node itself may hold: those that sign its requests, or else those that its
/// firmware claims, or else all that are claimed.
fn node_keys(case: &Case<'_>, attempt: &Attempt) -> Vec<KeyRef> {
    let signing: Vec<KeyRef> =
        attempt.holds_under.iter().filter(|key| case.is_own(key)).copied().collect();
    if !signing.is_empty() {
        return signing;
    }
    let Some(index) = case.node.index else { return Vec::new() };
    let kind = if case.firmware().is_some_and(|f| f.app_key.is_some() || f.nwk_key.is_some()) {
        ClaimKind::Firmware
    } else {
        ClaimKind::Record
    };
    case.entry
        .and_then(|entry| entry.claim(kind))
        .and_then(signing_role)
        .map(|role| vec![KeyRef { node: index, claim: kind, role }])
        .unwrap_or_default()
}

/// The opening of an accept by a key that the node holds.
pub(in crate::ladder) fn node_opening<'a>(
    case: &Case<'_>,
    attempt: &Attempt,
    answer: &'a Answer,
) -> Option<&'a Opening> {
    let keys = node_keys(case, attempt);
    answer.openings.iter().find(|o| {
        keys.iter().any(|key| {
            // The same value under another name is the same key.
            *key == o.key
                || match (key.resolve(case.roster), o.key.resolve(case.roster)) {
                    (Some(a), Some(b)) => a.key().same_as(b.key()),
                    _ => false,
                }
        })
    })
}

/// Whether the node applies the rule under which an accept's MIC holds.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
enum Applies {
    Yes,
    No,
    /// A 1.0.x node does, a 1.1 node does not, and which it is nobody states.
    ByVersion,
}

/// A 1.1 node decides by OptNeg alone: 1 is the 1.1 rule, 0 the 1.0 rule (LoRaWAN 1.1, 6.2.3). To
/// a 1.0.x node the bit is reserved, and there is one rule (LoRaWAN 1.0.4, p. 47).
fn applies(case: &Case<'_>, opening: &Opening) -> Applies {
    let is_1_1 = |version: MacVersion| version == MacVersion::V1_1;
    let by = |takes: bool| if takes { Applies::Yes } else { Applies::No };
    match (opening.rule, opening.opened.accept.dl_settings.opt_neg()) {
        (Rule::V1_0, false) => Applies::Yes,
        (Rule::V1_1, false) => Applies::No,
        (Rule::V1_1, true) => by(case.node_version().is_none_or(is_1_1)),
        (Rule::V1_0, true) => match case.node_version().or(case.record_version()) {
            Some(version) => by(!is_1_1(version)),
            None => Applies::ByVersion,
        },
    }
}

fn unopened(case: &Case<'_>, attempt: &Attempt, answer: &Answer) -> Judgement {
    let accept = &answer.sending;
    if let Some(opening) = answer.openings.first() {
        return Judgement::broken(fact!(
            "{accept}: opens under {key}, and under none that the node signs with",
            accept,
            key = whose(case, &opening.key)
        ));
    }
    if !answer.sealed.is_whole() {
        return Judgement::broken(fact!(
            "{accept}: {length}; a Join-Accept has 17 or 33",
            accept,
            length = Value::Count(answer.sending.octets.len() as u64, "byte")
        ));
    }
    if attempt.holds_under.iter().any(|key| case.is_own(key)) {
        return Judgement::broken(fact!(
            "{accept}: opens under no claimed key, though the request is signed with one",
            accept
        ));
    }
    Judgement::unknown(fact!(
        "{accept}: opens under no claimed key; the node's own is not known",
        accept
    ))
}

/// `the record's AppKey`, or whose key it is.
pub(in crate::ladder) fn whose(case: &Case<'_>, key: &KeyRef) -> Fact {
    if case.is_own(key) {
        fact!("{key}", key = key.to_string())
    } else {
        fact!("a key of {node}", node = case.name_of(key.node).to_owned())
    }
}

/// The accepts that the node opens and does not take, each with its opening.
pub(in crate::ladder) fn opened_and_refused<'a>(
    case: &Case<'a>,
) -> Vec<(&'a Attempt, &'a Answer, &'a Opening)> {
    accepts::unacceptable(case)
        .into_iter()
        .filter_map(|(attempt, answer)| {
            Some((attempt, answer, node_opening(case, attempt, answer)?))
        })
        .collect()
}
