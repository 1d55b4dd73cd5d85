//! Rung 9, acceptable: the node, with the keys built into it, can decrypt and authenticate the
//! accept, and its fields are lawful for the region and version.

pub(in crate::ladder) mod terms;
mod unheard;

use self::terms::{stale_join_nonce, unlawful};
use crate::{
    explore::misreading::{self, AcceptCase, Asked},
    fact::Certainty,
    frame::{CfList, CfListType, MacVersion},
    ladder::{
        finding::Finding,
        join::{Case, Rung},
        rung::{Judgement, State},
        subject::{LabelledRoot, signing_role},
        words::count,
    },
    roster::ClaimKind,
    trace::{Answer, Attempt, KeyRef, Opening, Rule},
};

pub(in crate::ladder) fn judge(case: &Case<'_>, index: usize) -> Judgement {
    let Some(attempt) = case.node.attempts.get(index) else { return Judgement::open() };
    if attempt.answers.is_empty() {
        return Judgement::unknown("there is no accept to open");
    }
    let mut told: Option<Judgement> = None;
    for answer in &attempt.answers {
        let judgement = judge_one(case, attempt, answer);
        match judgement.state {
            State::Proven => return judgement,
            State::Broken => told = Some(judgement),
            State::Unknown => {
                told.get_or_insert(judgement);
            }
        }
    }
    told.unwrap_or(Judgement::unknown("there is no accept to open"))
}

/// What the node makes of one accept.
fn judge_one(case: &Case<'_>, attempt: &Attempt, answer: &Answer) -> Judgement {
    let line = answer.sending.line;
    if case.entry.is_none() {
        return Judgement::unknown(format!("{line}: no key is known for this node"));
    }
    let Some(opening) = node_opening(case, attempt, answer) else {
        return unopened(case, attempt, answer);
    };
    let accept = &opening.opened.accept;
    if !node_applies(case, opening) {
        return Judgement::broken(format!(
            "{line}: opens under {}, but its MIC follows the {} rule with OptNeg {}, and the node is \
             {}",
            opening.key,
            opening.rule.name(),
            u8::from(accept.dl_settings.opt_neg()),
            case.node_version().map_or("1.0.x", MacVersion::name)
        ));
    }
    let unlawful = unlawful(case, accept);
    if !unlawful.is_empty() {
        return Judgement::broken(format!("{line}: {}", unlawful.join("; ")));
    }
    if let Some(words) = stale_join_nonce(case, accept) {
        return Judgement::broken(format!("{line}: {words}"));
    }
    Judgement::proven(format!(
        "{line}: opens under {} by the {} rule: DevAddr {}, JoinNonce {} (0x{}), NetID {}, {}",
        opening.key,
        opening.rule.name(),
        accept.dev_addr,
        accept.join_nonce.get(),
        accept.join_nonce,
        accept.net_id,
        match accept.cf_list.map(CfList::kind) {
            None => "no CFList",
            Some(CfListType::Frequencies) => "CFList of frequencies",
            Some(CfListType::Masks) => "CFList of masks",
            Some(CfListType::Rfu(_)) => "CFList of a reserved type",
        }
    ))
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
fn node_opening<'a>(case: &Case<'_>, attempt: &Attempt, answer: &'a Answer) -> Option<&'a Opening> {
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

/// Whether the node applies the rule under which the accept's MIC holds.
fn node_applies(case: &Case<'_>, opening: &Opening) -> bool {
    match (opening.rule, case.node_version()) {
        (Rule::V1_1, Some(version)) => version == MacVersion::V1_1,
        // A 1.1 node reads OptNeg; the rule must be the one that OptNeg names.
        (Rule::V1_0, Some(MacVersion::V1_1)) => !opening.opened.accept.dl_settings.opt_neg(),
        _ => true,
    }
}

fn unopened(case: &Case<'_>, attempt: &Attempt, answer: &Answer) -> Judgement {
    let line = answer.sending.line;
    if let Some(opening) = answer.openings.first() {
        let whose = if case.is_own(&opening.key) {
            format!("{}", opening.key)
        } else {
            format!("a key of {}", case.name_of(opening.key.node))
        };
        return Judgement::broken(format!(
            "{line}: opens under {whose}, and under none that the node signs with"
        ));
    }
    if !answer.sealed.is_whole() {
        return Judgement::broken(format!(
            "{line}: {} octets; a Join-Accept has 17 or 33",
            answer.sending.octets.len()
        ));
    }
    if attempt.holds_under.iter().any(|key| case.is_own(key)) {
        return Judgement::broken(format!(
            "{line}: opens under no claimed key, though the request is signed with one"
        ));
    }
    Judgement::unknown(format!("{line}: opens under no claimed key; the node's own is not known"))
}

/// The answers whose acceptance is broken, in attempts where no answer was good.
fn bad<'a>(case: &Case<'a>) -> Vec<(&'a Attempt, &'a Answer)> {
    case.answers()
        .filter(|(i, _, _)| case.state(*i, Rung::Acceptable) == State::Broken)
        .map(|(_, attempt, answer)| (attempt, answer))
        .collect()
}

pub(in crate::ladder) fn another_key(case: &Case<'_>) -> Option<Finding> {
    let closed = closed(case);
    let (_, first) = *closed.first()?;
    if another_attempt(case).is_some() || another_rule(case).is_some() {
        return None;
    }
    let foreign = first.openings.first();
    let certainty = match (foreign.is_some(), closed.len()) {
        (true, _) | (false, 2..) => Certainty::Certain,
        (false, _) => Certainty::Likely,
    };
    let mut finding = Finding::new(
        certainty,
        "the accept opens under no key that the node signs with: the server signs and encrypts it \
         with another one",
        "enter the key that signs the request wherever the server keeps the key for accepts (the \
         join server's copy included)",
    );
    for (attempt, answer) in closed.iter().take(4) {
        finding.add(format!(
            "{} (for {}): the MIC fails by the 1.0 and the 1.1 rule under every key of the node",
            answer.sending.line,
            attempt.line()
        ));
    }
    if let Some(opening) = foreign {
        finding.add(if case.is_own(&opening.key) {
            format!("it opens under {}", opening.key)
        } else {
            format!("it opens under a key of {}", case.name_of(opening.key.node))
        });
        finding = finding.matched_by_chance(1.0, closed.len());
    }
    finding.add("the request itself is signed with a claimed key".to_owned());
    Some(finding)
}

/// The mistake of the server's that explains every accept that opens under no key, if one does.
fn misread(case: &Case<'_>, closed: &[(&Attempt, &Answer)]) -> Option<misreading::Finding> {
    let roots = case.known_roots();
    let roots: Vec<_> = roots.iter().map(LabelledRoot::as_known).collect();
    let mut shared: Option<misreading::Finding> = None;
    for (attempt, answer) in closed.iter().filter(|(_, a)| a.openings.is_empty()).take(8) {
        let asked: Vec<Asked> = std::iter::once(*attempt)
            .chain(case.node.attempts.iter().rev().filter(|a| a.line() != attempt.line()))
            .filter_map(|a| a.ask.join())
            .take(8)
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
    shared.filter(|found| found.families().contains(&misreading::Family::AcceptSealing))
}

/// Accepts that a node with a known key cannot open.
fn closed<'a>(case: &Case<'a>) -> Vec<(&'a Attempt, &'a Answer)> {
    let mut out = bad(case);
    out.retain(|(attempt, answer)| {
        attempt.holds_under.iter().any(|key| case.is_own(key))
            && answer.sealed.is_whole()
            && node_opening(case, attempt, answer).is_none()
    });
    out
}

pub(in crate::ladder) fn another_rule(case: &Case<'_>) -> Option<Finding> {
    if another_attempt(case).is_some() {
        return None;
    }
    let closed = closed(case);
    let found = misread(case, &closed)?;
    let what: Vec<&str> = found.mistakes.iter().map(|row| row.what).collect();
    let mut finding = Finding::new(
        Certainty::of_probability(found.odds),
        format!(
            "the accept opens under {} if the server {}",
            found.roots.join(" or "),
            what.join(", and ")
        ),
        "mend the making of Join-Accepts on the server: sign MHDR and all fields, then turn fields \
         and MIC by AES decryption, block by block",
    );
    for row in &found.mistakes {
        finding.add(format!("the standard: {}", row.standard));
        finding.add(format!("what is seen of it: {}", row.seen));
    }
    for (attempt, answer) in closed.iter().take(4) {
        finding.add(format!("{} (for {})", answer.sending.line, attempt.line()));
    }
    finding.false_match = Some(found.odds);
    Some(finding)
}

/// Own openings whose rule is not the one that OptNeg names.
pub(in crate::ladder) fn opt_neg(case: &Case<'_>) -> Option<Finding> {
    let one_1 = case.node_version() == Some(MacVersion::V1_1);
    let off: Vec<_> = bad(case)
        .into_iter()
        .filter_map(|(attempt, answer)| Some((answer, node_opening(case, attempt, answer)?)))
        .filter(|(_, o)| (o.rule == Rule::V1_1) != o.opened.accept.dl_settings.opt_neg())
        .collect();
    let (_, opening) = *off.first()?;
    if !one_1 {
        return None;
    }
    let mut finding = Finding::new(
        Certainty::Certain,
        format!(
            "the accept's MIC holds by the {} rule, and its OptNeg is {}: a 1.1 node applies the \
             other rule and drops it",
            opening.rule.name(),
            u8::from(opening.opened.accept.dl_settings.opt_neg())
        ),
        "set the MAC version on record to the node's; have the server set bit 7 of DLSettings for \
         1.1 and leave it 0 for 1.0.x",
    );
    for (answer, opening) in off.iter().take(4) {
        finding.add(format!(
            "{}: DLSettings {:02X}, MIC by the {} rule",
            answer.sending.line,
            opening.opened.accept.dl_settings.0,
            opening.rule.name()
        ));
    }
    Some(finding.matched_by_chance(2.0, off.len()))
}

pub(in crate::ladder) fn server_says_1_1(case: &Case<'_>) -> Option<Finding> {
    let by_1_1: Vec<_> = bad(case)
        .into_iter()
        .filter_map(|(attempt, answer)| {
            let opening = node_opening(case, attempt, answer)?;
            (opening.rule == Rule::V1_1 && !node_applies(case, opening))
                .then_some((answer, opening))
        })
        .collect();
    let (_, opening) = *by_1_1.first()?;
    let version = case.node_version()?;
    let mut finding = Finding::new(
        Certainty::Certain,
        format!(
            "the accept follows LoRaWAN 1.1 (OptNeg set, MIC under JSIntKey); the node is {} and \
             cannot authenticate it",
            version.name()
        ),
        format!("set the MAC version on record to {}", version.name()),
    );
    finding.add(format!(
        "{}: the MIC holds by the 1.1 rule under a key derived from {}, and fails by the 1.0 rule",
        count(by_1_1.len(), "Join-Accept"),
        opening.key
    ));
    if let Some(record) = case.record_version() {
        finding.add(format!("the record says {}, the firmware {}", record.name(), version.name()));
    }
    finding.add("the request is good: the key is right".to_owned());
    Some(finding.matched_by_chance(1.0, by_1_1.len()))
}

pub(in crate::ladder) fn another_attempt(case: &Case<'_>) -> Option<Finding> {
    let closed: Vec<_> = bad(case)
        .into_iter()
        .filter(|(_, answer)| answer.openings.is_empty() && answer.sealed.is_whole())
        .collect();
    let mut found = None;
    for (attempt, answer) in &closed {
        let sealed = &answer.sealed;
        let others = case.node.attempts.iter().filter(|o| o.line() != attempt.line());
        for other in others {
            if case.opens_as_answer_to(other, sealed) {
                found = Some((*attempt, *answer, other));
            }
        }
    }
    let Some((attempt, answer, other)) = found else {
        return unheard::unheard_attempt(case, &closed);
    };
    let mut finding = Finding::new(
        Certainty::Certain,
        format!(
            "the accept handed out for DevNonce {} is made for DevNonce {}: the server answers an \
             earlier request",
            attempt.nonce(),
            other.nonce()
        ),
        "find out why the server is late (its queue, its join server's answer) and have it drop an \
         answer whose windows are past",
    );
    finding.add(format!(
        "{}: its MIC holds with the DevNonce of {}, not with that of {}",
        answer.sending.line,
        other.line(),
        attempt.line()
    ));
    Some(finding.matched_by_chance(
        f64::from(u32::try_from(case.node.attempts.len()).unwrap_or(u32::MAX)),
        1,
    ))
}
