//! Rung 4, authentic: the MIC holds under the key on record that the MAC version uses for it.

mod search;

use std::cell::Cell;

use self::search::{Labelled, Search, claim_keys};
use super::why::{Scope, Searched, Why};
use crate::{
    crypto::mic,
    explore::near_miss::{KnownKind, Target, complete},
    fact::{Certainty, Fact, Value, fact},
    frame::Mic,
    ladder::{
        finding::Finding,
        join::{Case, Rung},
        rung::Judgement,
        subject::signing_role,
    },
    roster::{Activation, Claim, ClaimKind, KeyDamage},
    trace::{Attempt, KeyRef, Role, RootKey},
};

/// Nodes whose keys are tried on another's request, at the most.
const OTHER_NODES: usize = 2_000;

/// Requests that a key must sign, at the most: three are beyond any accident already.
const TARGETS: usize = 16;

pub(in crate::ladder) fn judge(case: &Case<'_>, index: usize) -> Judgement {
    let Some(attempt) = case.node.attempts.get(index) else { return Judgement::open() };
    if case.entry.is_none() {
        return Judgement::unknown("this node is on no roster, and its key is unknown");
    }
    let Some((kind, claim)) = case.reference() else {
        return completed(case)
            .unwrap_or_else(|| Judgement::unknown("the roster states no key for this node"));
    };
    let Some(role) = signing_role(claim) else {
        return keyless(case, attempt, kind, claim);
    };
    let wanted = KeyRef { node: case.node.index.unwrap_or_default(), claim: kind, role };
    if attempt.holds_under.contains(&wanted) {
        return Judgement::proven(if kind == ClaimKind::Record {
            fact!("the MIC holds under {key}", key = wanted)
        } else {
            fact!("the MIC holds under {key} (the roster has no record)", key = wanted)
        });
    }
    let Some(request) = attempt.ask.join() else {
        return Judgement::unknown("a Rejoin-Request whose session keys are not in the capture");
    };
    let received = Value::Bytes(request.mic.0.to_vec());
    let judgement = Judgement::broken(if let Some(mic) = computed(case, &wanted, attempt) {
        fact!(
            "the MIC fails under {key}: received {received}, computed {computed}",
            key = wanted,
            received,
            computed = Value::Bytes(mic.0.to_vec())
        )
    } else {
        fact!("the MIC {received} fails under {key}", received, key = wanted)
    });
    match attempt.holds_under.first() {
        None => judgement,
        Some(other) if case.is_own(other) => {
            judgement.and(fact!("it holds under {other_key}", other_key = *other))
        }
        Some(other) => judgement.and(fact!(
            "it holds under a key of {other_node}",
            other_node = case.name_of(other.node).to_owned()
        )),
    }
}

/// The MIC of a request under a key of the roster, for showing.
fn computed(case: &Case<'_>, key: &KeyRef, attempt: &Attempt) -> Option<Mic> {
    let request = attempt.ask.join()?;
    Some(match key.resolve(case.roster)? {
        RootKey::App(key) => mic::join_request(key, request),
        RootKey::Nwk(key) => mic::join_request(key, request),
    })
}

fn keyless(case: &Case<'_>, attempt: &Attempt, kind: ClaimKind, claim: &Claim) -> Judgement {
    let claim_name = kind.name();
    if is_abp_record(claim) {
        return Judgement::broken(fact!(
            "the {claim} is set for ABP: it has session keys and no root key to check the MIC with",
            claim = claim_name
        ));
    }
    match attempt.holds_under.iter().find(|key| case.is_own(key)) {
        Some(key) if attempt.answers.is_empty() && key.claim == kind => Judgement::broken(fact!(
            "the MIC holds under {key}, which this version does not use",
            key = *key
        )),
        Some(key) => Judgement::unknown(fact!(
            "the {claim} has no key for this version; the MIC holds under {key}",
            claim = claim_name,
            key = *key
        )),
        None => completed(case).unwrap_or_else(|| {
            Judgement::unknown(fact!("the {claim} has no key for this version", claim = claim_name))
        }),
    }
}

/// A root key with one damaged digit, where the node's requests show which key it is: the record's breaks the
/// rung, for no node signs with such a key; another place's leaves it open.
fn completed(case: &Case<'_>) -> Option<Judgement> {
    let (kind, said, tried, _) = completion(case, &["app-key", "nwk-key"])?;
    let judgement =
        if kind == ClaimKind::Record { Judgement::broken(said) } else { Judgement::unknown(said) };
    Some(judgement.and(tried))
}

/// The record's root key of that name, a digit of which is damaged, and which the requests complete.
pub(in crate::ladder) fn damaged_on_record(case: &Case<'_>, member: &str) -> Option<Finding> {
    let (kind, said, tried, odds) = completion(case, &[member])?;
    // Whoever wrote the roster may have lost the digit, and the server has it.
    let mut finding = Finding::new(
        Certainty::Likely,
        said,
        "enter the key on record again, all 32 digits, from the place that it comes from; correct the roster, too",
    );
    finding.false_match = Some(odds);
    (kind == ClaimKind::Record).then(|| finding.and(tried))
}

/// Whose damaged key it is, what completes it, and how probable a false match is: in words, and as a number.
fn completion(case: &Case<'_>, members: &[&str]) -> Option<(ClaimKind, Fact, Fact, f64)> {
    let claims = case.entry?.claims();
    let damaged =
        claims.flat_map(|(kind, claim)| claim.damaged_keys.iter().map(move |key| (kind, key)));
    let mut damaged = damaged.filter(|(_, key)| members.contains(&key.member)).peekable();
    // Nearly every roster's keys are whole.
    damaged.peek()?;
    let requests = case.node.attempts.iter().filter_map(|attempt| attempt.ask.join());
    let targets: Vec<Target> = requests.take(TARGETS).map(Target::from).collect();
    let (kind, key, found) =
        damaged.find_map(|(kind, key)| Some((kind, key, complete(key.digits(), &targets)?)))?;
    let (claim, member, digit) = (kind.name(), key.member, found.at as u64);
    let said = match key.damage {
        KeyDamage::OneTooFew => fact!(
            "the {claim}'s {member} has 31 digits: with one put in as digit {digit} it signs the requests",
            claim,
            member,
            digit
        ),
        KeyDamage::OneTooMany => fact!(
            "the {claim}'s {member} has 33 digits: without digit {digit} it signs the requests",
            claim,
            member,
            digit
        ),
        KeyDamage::OneUnreadable { .. } => fact!(
            "the {claim}'s {member} has a character that is not a hex digit: with another digit \
             {digit} it signs the requests",
            claim,
            member,
            digit
        ),
    };
    let tried = fact!(
        "{tried} keys were tried on {requests}, the false-match probability is {probability}: \
         correct the roster, and everything is checked under that key",
        tried = found.tried,
        requests = Value::count(found.frames, "request"),
        probability = Value::Probability(found.odds)
    );
    Some((kind, said, tried, found.odds))
}

fn has_session_keys(claim: &Claim) -> bool {
    claim.nwk_s_key.is_some() || claim.f_nwk_s_int_key.is_some() || claim.app_s_key.is_some()
}

/// Whether a claim is set for ABP, so that no root key can check a request.
pub(in crate::ladder) fn is_abp_record(claim: &Claim) -> bool {
    claim.app_key.is_none()
        && claim.nwk_key.is_none()
        && (claim.activation == Some(Activation::Abp) || has_session_keys(claim))
}

/// The requests whose MIC fails under the key on record.
fn failing<'a>(case: &Case<'a>) -> Vec<&'a Attempt> {
    case.broken_at(Rung::Authentic)
        .map(|(_, attempt)| attempt)
        .filter(|attempt| attempt.ask.join().is_some())
        .collect()
}

/// Why the MIC fails under the key on record, searched once.
pub(in crate::ladder) fn why<'c>(case: &'c Case<'_>) -> Option<&'c Why> {
    case.why.get_or_init(|| searched(case)).as_ref()
}

fn searched(case: &Case<'_>) -> Option<Why> {
    let (kind, claim) = case.reference()?;
    if is_abp_record(claim) {
        return None;
    }
    let failing = failing(case);
    let first = *failing.first()?;
    signing_role(claim).or(other_role_of(claim))?;
    let targets: Vec<Target> =
        failing.iter().filter_map(|a| a.ask.join()).take(TARGETS).map(Target::from).collect();
    let search = Search {
        case,
        targets: &targets,
        attempt: first,
        effort: case.effort(),
        tried: Cell::new(0),
        interrupted: Cell::new(false),
    };

    // Around what is on record first: which mistake turned the one key into the other?
    let own = claim_keys(kind, claim, signing_role(claim), "");
    if let Some(hit) = search.around(&own, Scope::Reference) {
        return Some(Why::Key(Box::new(hit)));
    }
    let mut wider = Vec::new();
    for (other_kind, other) in case.entry?.claims().filter(|(k, _)| *k != kind) {
        wider.extend(claim_keys(other_kind, other, signing_role(other), ""));
    }
    for (index, node) in case.roster.nodes.iter().enumerate().take(OTHER_NODES) {
        if Some(index) == case.node.index {
            continue;
        }
        for (other_kind, other) in node.claims() {
            let prefix = format!("{}: ", node.name);
            let roots = claim_keys(other_kind, other, None, &prefix);
            let roots = roots.into_iter().filter(|key| key.role.is_some());
            wider.extend(roots.map(|key| Labelled { kind: KnownKind::OtherNode, ..key }));
        }
    }
    if let Some(hit) = search.around(&wider, Scope::Beyond) {
        return Some(Why::Key(Box::new(hit)));
    }
    if let Some(found) = search.misread(&failing) {
        return Some(Why::Misread(Box::new(found)));
    }
    Some(Why::Nothing(Searched {
        tried: search.tried.get(),
        digits: search.effort.max_digits,
        interrupted: search.interrupted.get(),
        requests: targets.len(),
    }))
}

fn other_role_of(claim: &Claim) -> Option<Role> {
    match (&claim.app_key, &claim.nwk_key) {
        (Some(_), _) => Some(Role::AppKey),
        (None, Some(_)) => Some(Role::NwkKey),
        (None, None) => None,
    }
}
