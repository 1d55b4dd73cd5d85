//! Rung 4, authentic: the MIC holds under the key on record that the MAC version uses for it.

mod search;

use std::cell::Cell;

use self::search::{Labelled, Scope, Search, claim_keys};
use crate::{
    crypto::mic,
    explore::near_miss::{KnownKind, Target},
    fact::Certainty,
    ladder::{
        finding::Finding,
        join::{Case, Rung},
        rung::{Judgement, State},
        subject::signing_role,
        words::count,
    },
    roster::{Activation, Claim, ClaimKind},
    trace::{Attempt, KeyRef, Role, RootKey},
};

/// Nodes whose keys are tried on another's request, at the most.
const OTHER_NODES: usize = 2_000;

pub(in crate::ladder) fn judge(case: &Case<'_>, index: usize) -> Judgement {
    let Some(attempt) = case.node.attempts.get(index) else { return Judgement::open() };
    if case.entry.is_none() {
        return Judgement::unknown("this node is on no roster, and its key unknown");
    }
    let Some((kind, claim)) = case.reference() else {
        return Judgement::unknown("the roster states no key for this node");
    };
    let Some(role) = signing_role(claim) else {
        return keyless(case, attempt, kind, claim);
    };
    let wanted = KeyRef { node: case.node.index.unwrap_or_default(), claim: kind, role };
    if attempt.holds_under.contains(&wanted) {
        let beside = if kind == ClaimKind::Record { "" } else { " (the roster has no record)" };
        return Judgement::proven(format!("the MIC holds under {wanted}{beside}"));
    }
    if attempt.ask.join().is_none() {
        return Judgement::unknown("a Rejoin-Request whose session keys are not in the capture");
    }
    let received = attempt.ask.join().map(|r| r.mic.to_string()).unwrap_or_default();
    let computed = computed(case, &wanted, attempt);
    let mut judgement = Judgement::broken(format!(
        "the MIC fails under {wanted}: received {received}, computed {computed}"
    ));
    if let Some(other) = attempt.holds_under.first() {
        judgement = judgement.and(if case.is_own(other) {
            format!("it holds under {other}")
        } else {
            format!("it holds under a key of {}", case.name_of(other.node))
        });
    }
    judgement
}

/// The MIC of a request under a key of the roster, for showing.
fn computed(case: &Case<'_>, key: &KeyRef, attempt: &Attempt) -> String {
    let (Some(root), Some(request)) = (key.resolve(case.roster), attempt.ask.join()) else {
        return "nothing".into();
    };
    match root {
        RootKey::App(key) => mic::join_request(key, request).to_string(),
        RootKey::Nwk(key) => mic::join_request(key, request).to_string(),
    }
}

fn keyless(case: &Case<'_>, attempt: &Attempt, kind: ClaimKind, claim: &Claim) -> Judgement {
    if is_abp_record(claim) {
        return Judgement::broken(format!(
            "the {} is set for ABP: it has session keys and no root key to check the MIC with",
            kind.name()
        ));
    }
    match attempt.holds_under.iter().find(|key| case.is_own(key)) {
        Some(key) if attempt.answers.is_empty() && key.claim == kind => {
            Judgement::broken(format!("the MIC holds under {key}, which this version does not use"))
        }
        Some(key) => Judgement::unknown(format!(
            "the {} has no key for this version; the MIC holds under {key}",
            kind.name()
        )),
        None => Judgement::unknown(format!("the {} has no key for this version", kind.name())),
    }
}

fn has_session_keys(claim: &Claim) -> bool {
    claim.nwk_s_key.is_some() || claim.f_nwk_s_int_key.is_some() || claim.app_s_key.is_some()
}

fn is_abp_record(claim: &Claim) -> bool {
    claim.app_key.is_none()
        && claim.nwk_key.is_none()
        && (claim.activation == Some(Activation::Abp) || has_session_keys(claim))
}

pub(in crate::ladder) fn record_is_abp(case: &Case<'_>) -> Option<Finding> {
    let record = case.record()?;
    let asked = case.node.attempts.iter().filter(|a| a.ask.join().is_some()).count();
    if asked == 0 || !is_abp_record(record) || case.answers().next().is_some() {
        return None;
    }
    let mut finding = Finding::new(
        Certainty::Certain,
        "the node joins over the air, its record is set for ABP: session keys, and no root key to \
         check a Join-Request with",
        "register the node for OTAA with its root key; or, if ABP is meant, set the node to ABP \
         with the record's session",
    );
    finding.add(format!("{} from the node", count(asked, "Join-Request")));
    finding.add(match record.dev_addr {
        Some(addr) => format!("the record holds DevAddr {addr} and session keys, no AppKey"),
        None => "the record holds session keys, no AppKey".to_owned(),
    });
    let holds = |a: &Attempt| a.holds_under.iter().any(|key| case.is_own(key));
    if case.node.attempts.iter().any(holds) {
        finding.add(
            "the MIC holds under the firmware's root key: the node itself is right".to_owned(),
        );
    }
    Some(finding)
}

/// Why the MIC fails under the key on record: found once, asked for by every cause of this rung.
#[derive(Clone, Debug)]
pub(in crate::ladder) struct Why {
    id: &'static str,
    finding: Finding,
}

/// The requests whose MIC fails under the key on record.
fn failing<'a>(case: &Case<'a>) -> Vec<&'a Attempt> {
    case.broken_at(Rung::Authentic)
        .map(|(_, attempt)| attempt)
        .filter(|attempt| attempt.ask.join().is_some())
        .collect()
}

pub(in crate::ladder) fn why(case: &Case<'_>) -> Option<Why> {
    let (kind, claim) = case.reference()?;
    if is_abp_record(claim) {
        return None;
    }
    let failing = failing(case);
    let first = *failing.first()?;
    let role = signing_role(claim).or(other_role_of(claim))?;
    let targets: Vec<Target> =
        failing.iter().filter_map(|a| a.ask.join()).take(16).map(Target::from).collect();
    let search = Search {
        case,
        targets: &targets,
        attempt: first,
        effort: case.effort(),
        tried: Cell::new(0),
        interrupted: Cell::new(false),
    };

    // Around what is on record first: which mistake turned the one key into the other?
    let own = claim_keys(kind, claim, Some(role), "");
    if let Some(why) = search.around(&own, Scope::Reference) {
        return Some(why);
    }
    let mut wider = Vec::new();
    for (other_kind, other) in case.entry?.claims().filter(|(k, _)| *k != kind) {
        wider.extend(claim_keys(other_kind, other, signing_role(other), ""));
    }
    let mut others = Vec::new();
    for (index, node) in case.roster.nodes.iter().enumerate().take(OTHER_NODES) {
        if Some(index) == case.node.index {
            continue;
        }
        for (other_kind, other) in node.claims() {
            let prefix = format!("{}: ", node.name);
            others.extend(
                claim_keys(other_kind, other, None, &prefix)
                    .into_iter()
                    .filter(|k| k.role.is_some())
                    .map(|k| Labelled { kind: KnownKind::OtherNode, ..k }),
            );
        }
    }
    wider.extend(others);
    if let Some(why) = search.around(&wider, Scope::Beyond) {
        return Some(why);
    }
    // Where the key signs other requests of the node, it is right, and these are garbled.
    let right = [Rung::Authentic, Rung::Proven].iter().any(|rung| case.ever(*rung, State::Proven));
    search.misread(&failing).or_else(|| (!right).then(|| search.unrelated()))
}

/// Whether it is a key typed wrong, and no other mistake about keys.
fn is_slip(id: &str) -> bool {
    matches!(id, "app-key-typed-wrong" | "nwk-key-typed-wrong")
}

fn other_role_of(claim: &Claim) -> Option<Role> {
    match (&claim.app_key, &claim.nwk_key) {
        (Some(_), _) => Some(Role::AppKey),
        (None, Some(_)) => Some(Role::NwkKey),
        (None, None) => None,
    }
}

fn if_why(case: &Case<'_>, id: &str) -> Option<Finding> {
    let why = case.why()?;
    (why.id == id).then(|| why.finding.clone())
}

macro_rules! checks {
    ($($name:ident $id:literal;)*) => {$(
        pub(in crate::ladder) fn $name(case: &Case<'_>) -> Option<Finding> {
            if_why(case, $id)
        }
    )*};
}

checks! {
    app_key_reversed "app-key-bytes-reversed";
    nwk_key_reversed "nwk-key-bytes-reversed";
    app_key_typed "app-key-typed-wrong";
    nwk_key_typed "nwk-key-typed-wrong";
    text_as_bytes "app-key-text-taken-as-bytes";
    sample_key "firmware-still-uses-a-sample-key";
    wrong_slot "root-key-in-the-wrong-slot";
    session_key "session-key-entered-as-root-key";
    another_node "key-of-another-node";
    misread "join-request-signed-by-another-rule";
    unrelated "root-key-unrelated";
}
