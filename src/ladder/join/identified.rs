//! Rung 3, identified: DevEUI and JoinEUI are the ones on record.
//!
//! The MIC is the witness here: it covers the EUIs as sent, so that it holds under the right key
//! even when an EUI is backwards or mistyped.

use crate::{
    explore::near_miss::{self, Mistake},
    fact::{Certainty, fact},
    id::Eui64,
    ladder::{
        finding::Finding,
        join::{Case, Rung},
        rung::Judgement,
        words::count,
    },
    roster::{Claim, ClaimKind},
    trace::{Attempt, Data},
};

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
    let mut wrong = Vec::new();
    let mut right = Vec::new();
    if let (Some(sent), Some(own)) = (attempt.ask.dev_eui(), claim.dev_eui) {
        let list = if sent == own { &mut right } else { &mut wrong };
        list.push(if sent == own {
            format!("DevEUI {sent}")
        } else {
            format!("DevEUI sent {sent}, on {} {own}", kind.name())
        });
    }
    if let (Some(sent), Some(own)) = (attempt.ask.join_eui(), claim.join_eui) {
        if sent == own {
            right.push(format!("JoinEUI {sent}"));
        } else if attempt.answers.is_empty() {
            wrong.push(format!("JoinEUI sent {sent}, on {} {own}", kind.name()));
        } else {
            right.push(format!(
                "JoinEUI sent {sent}, on {} {own}; the server answered all the same",
                kind.name()
            ));
        }
    }
    match (wrong.is_empty(), right.is_empty()) {
        (false, _) => Judgement::broken(wrong.join("; ")),
        (true, false) => Judgement::proven(format!("{} as on {}", right.join(", "), kind.name())),
        (true, true) => Judgement::unknown("nothing on record to compare with"),
    }
}

/// One of the two identifiers, sent and claimed, where they differ.
struct Pair<'a> {
    kind: ClaimKind,
    sent: Eui64,
    own: Eui64,
    /// Attempts that carry it.
    attempts: Vec<&'a Attempt>,
    /// Whether their MICs hold under a key of this node.
    authentic: bool,
}

fn pair<'a>(
    case: &Case<'a>,
    sent: impl Fn(&Attempt) -> Option<Eui64>,
    own: impl Fn(&Claim) -> Option<Eui64>,
) -> Option<Pair<'a>> {
    let (kind, claim) = reference(case)?;
    let own = own(claim)?;
    let broken: Vec<_> = case
        .broken_at(Rung::Identified)
        .map(|(_, attempt)| attempt)
        .filter(|attempt| sent(attempt).is_some_and(|s| s != own))
        .collect();
    let first = sent(broken.first()?)?;
    let attempts: Vec<_> = broken.into_iter().filter(|a| sent(a) == Some(first)).collect();
    let authentic = attempts.iter().all(|a| a.holds_under.iter().any(|key| case.is_own(key)));
    Some(Pair { kind, sent: first, own, attempts, authentic })
}

fn dev_pair<'a>(case: &Case<'a>) -> Option<Pair<'a>> {
    pair(case, |a| a.ask.dev_eui().map(|e| e.0), |c| c.dev_eui.map(|e| e.0))
}

fn join_pair<'a>(case: &Case<'a>) -> Option<Pair<'a>> {
    pair(case, |a| a.ask.join_eui().map(|e| e.0), |c| c.join_eui.map(|e| e.0))
}

fn are_exchanged(case: &Case<'_>) -> bool {
    let (Some(dev), Some(join)) = (dev_pair(case), join_pair(case)) else { return false };
    let (a, b) = (dev.own, join.own);
    a != b
        && ((dev.sent == b && join.sent == a)
            || (dev.sent == b.bytes_reversed() && join.sent == a.bytes_reversed()))
}

impl Pair<'_> {
    fn finding(&self, name: &str, how: &str, remedy: String) -> Finding {
        let certainty = if self.authentic { Certainty::Certain } else { Certainty::Likely };
        let mut finding = Finding::new(
            certainty,
            format!(
                "the {name} sent is {how}: sent {}, on {} {}",
                self.sent,
                self.kind.name(),
                self.own
            ),
            remedy,
        );
        finding.add(format!("sent      {}", self.sent));
        finding.add(format!("on {:<7}{}", self.kind.name(), self.own));
        if self.authentic {
            finding.add(format!(
                "the MIC of {} holds under this node's key over the EUI as sent: the frame is this \
                 node's",
                count(self.attempts.len(), "request")
            ));
            finding = finding.matched_by_chance(1.0, self.attempts.len());
        } else {
            finding.add("no key on the roster checks the MIC, so that the likeness alone speaks");
        }
        finding
    }
}

pub(in crate::ladder) fn exchanged(case: &Case<'_>) -> Option<Finding> {
    if !are_exchanged(case) {
        return None;
    }
    let pair = dev_pair(case)?;
    Some(pair.finding(
        "DevEUI",
        "the JoinEUI, and the other way round",
        "exchange DevEUI and JoinEUI in the node's configuration (or on record)".into(),
    ))
}

fn reversed(case: &Case<'_>, pair: Option<Pair<'_>>, name: &str) -> Option<Finding> {
    let pair = pair?;
    if pair.own.bytes_reversed() != pair.sent || are_exchanged(case) {
        return None;
    }
    Some(pair.finding(
        name,
        &format!("the one on {} read backwards, byte by byte", pair.kind.name()),
        format!(
            "turn the bytes of the {name} in the node's firmware, so that it sends {} (it travels \
             least significant byte first); or register {}",
            pair.own, pair.sent
        ),
    ))
}

pub(in crate::ladder) fn dev_eui_reversed(case: &Case<'_>) -> Option<Finding> {
    reversed(case, dev_pair(case), "DevEUI")
}

pub(in crate::ladder) fn join_eui_reversed(case: &Case<'_>) -> Option<Finding> {
    reversed(case, join_pair(case), "JoinEUI")
}

/// The typing slip, if any, that turns a claimed EUI into the one sent.
fn slip(sent: Eui64, own: Eui64) -> Option<Mistake> {
    near_miss::eui_relation(sent, own)
        .filter(|m| !matches!(m, Mistake::Same | Mistake::OctetsReversed))
}

fn typed(case: &Case<'_>, pair: Option<Pair<'_>>, name: &str) -> Option<Finding> {
    let pair = pair?;
    if are_exchanged(case) || pair.own.bytes_reversed() == pair.sent {
        return None;
    }
    let how = slip(pair.sent, pair.own)?.of_eui(&format!("the {}'s {name}", pair.kind.name()));
    let mut finding = pair.finding(
        name,
        &format!("a typing slip away from the one on {}", pair.kind.name()),
        format!(
            "correct the {name} on {} to what the node sends, or reset the node's stored copy, \
             whichever differs from the label",
            pair.kind.name()
        ),
    );
    finding.summary = fact!("{what}; {how}", what = finding.summary, how);
    Some(finding)
}

pub(in crate::ladder) fn dev_eui_typed(case: &Case<'_>) -> Option<Finding> {
    typed(case, dev_pair(case), "DevEUI")
}

pub(in crate::ladder) fn join_eui_typed(case: &Case<'_>) -> Option<Finding> {
    typed(case, join_pair(case), "JoinEUI")
}

pub(in crate::ladder) fn not_on_record(case: &Case<'_>) -> Option<Finding> {
    // A stranger beside an empty roster is just a stranger.
    if case.entry.is_none() {
        let attempt = case.node.attempts.first()?;
        let dev_eui = attempt.ask.dev_eui()?;
        // Neighbours are no fault; a node of the roster that is not heard may be this one.
        let missing = case.trace.nodes.iter().any(|node| {
            node.index.is_some()
                && node.attempts.is_empty()
                && node.sessions.iter().all(|s| s.frames.is_empty())
        });
        if !missing {
            return None;
        }
        if case.node.attempts.iter().any(|a| !a.answers.is_empty()) {
            return None;
        }
        let mut finding = Finding::new(
            Certainty::Possible,
            format!(
                "{dev_eui} is on no roster and no claim resembles it, while a node of the roster \
                 is not heard"
            ),
            "if it is yours, register what the node sends; if not, it is a neighbour's and needs \
             nothing",
        );
        finding.add(format!("{} from it", count(case.node.attempts.len(), "request")));
        return Some(finding);
    }
    let pair = dev_pair(case).or_else(|| join_pair(case))?;
    Some(pair.finding(
        "identity",
        "not the one on record, and no typing slip explains it",
        "register the identity that the node sends, or give the node the one on record".into(),
    ))
}

pub(in crate::ladder) fn shared(case: &Case<'_>) -> Option<Finding> {
    shared_sessions(case).or_else(|| shared_requests(case))
}

/// Two sessions of one identity that both go on: a node that takes an accept leaves its old
/// session for good.
fn shared_sessions(case: &Case<'_>) -> Option<Finding> {
    let lines = |s: &crate::trace::Session| {
        let ups: Vec<_> = s.frames.iter().filter(|f| matches!(f.data, Data::Up { .. })).collect();
        Some((ups.first()?.data.line(), ups.last()?.data.line(), ups.len()))
    };
    let sessions: Vec<_> = case
        .node
        .sessions
        .iter()
        .filter_map(|s| lines(s).map(|(first, last, n)| (s, first, last, n)))
        .collect();
    for (i, (a, a_first, a_last, a_n)) in sessions.iter().enumerate() {
        for (b, b_first, b_last, b_n) in sessions.iter().skip(i + 1) {
            let woven = a_last > b_first && b_last > a_first;
            if !woven || a.dev_addr == b.dev_addr || a_n + b_n < 3 {
                continue;
            }
            let mut finding = Finding::new(
                Certainty::Certain,
                format!(
                    "two sessions of one DevEUI go on side by side, {} and {}: two nodes share the \
                     identity",
                    a.dev_addr, b.dev_addr
                ),
                "give each node an identity (DevEUI and root keys) of its own",
            );
            finding.add(format!("DevAddr {}: {a_n} uplinks, {a_first} to {a_last}", a.dev_addr));
            finding.add(format!("DevAddr {}: {b_n} uplinks, {b_first} to {b_last}", b.dev_addr));
            if let (Some(x), Some(y)) = (mean_rssi(a), mean_rssi(b)) {
                finding.add(format!("mean RSSI {x:.0} dBm and {y:.0} dBm"));
            }
            return Some(finding.matched_by_chance(1.0, (a_n + b_n).min(8)));
        }
    }
    None
}

fn mean_rssi(session: &crate::trace::Session) -> Option<f32> {
    let all: Vec<f32> = session.uplinks().filter_map(|(_, heard)| heard.best().rssi).collect();
    mean(&all)
}

fn mean(all: &[f32]) -> Option<f32> {
    #[expect(clippy::cast_precision_loss, reason = "a mean of decibels")]
    (!all.is_empty()).then(|| all.iter().sum::<f32>() / all.len() as f32)
}

/// Requests of one identity whose strength falls into two heaps that take turns, each heap with
/// nonces that count on by themselves.
fn shared_requests(case: &Case<'_>) -> Option<Finding> {
    let seen: Vec<(f32, u16, &Attempt)> = case
        .node
        .attempts
        .iter()
        .filter_map(|a| Some((a.heard.best().rssi?, a.nonce(), a)))
        .collect();
    if seen.len() < 4 {
        return None;
    }
    let low = seen.iter().map(|s| s.0).fold(f32::MAX, f32::min);
    let high = seen.iter().map(|s| s.0).fold(f32::MIN, f32::max);
    if high - low < 15.0 {
        return None;
    }
    let middle = low.midpoint(high);
    let heap = |above: bool| -> Vec<&(f32, u16, &Attempt)> {
        seen.iter().filter(|s| (s.0 > middle) == above).collect()
    };
    let (near, far) = (heap(true), heap(false));
    let counts_on = |heap: &[&(f32, u16, &Attempt)]| {
        heap.len() >= 2
            && heap.windows(2).all(|w| {
                let [a, b] = w else { return false };
                (1..=4).contains(&b.1.wrapping_sub(a.1))
            })
    };
    let turns =
        seen.windows(2).filter(|w| matches!(w, [a, b] if (a.0 > middle) != (b.0 > middle))).count();
    let tight = |heap: &[&(f32, u16, &Attempt)]| {
        let all: Vec<f32> = heap.iter().map(|s| s.0).collect();
        let spread = all.iter().copied().fold(f32::MIN, f32::max)
            - all.iter().copied().fold(f32::MAX, f32::min);
        spread < 8.0
    };
    if turns < 2 || !counts_on(&near) || !counts_on(&far) || !tight(&near) || !tight(&far) {
        return None;
    }
    let far_apart = near.iter().all(|n| far.iter().all(|f| n.1.abs_diff(f.1) > 8));
    if !far_apart {
        return None;
    }
    let mut finding = Finding::new(
        Certainty::Likely,
        "requests of one DevEUI come in two strengths, each with DevNonces that count on by \
         themselves: two nodes share the identity",
        "give each node an identity (DevEUI and root keys) of its own",
    );
    for (name, heap) in [("stronger", &near), ("weaker", &far)] {
        let nonces: Vec<String> = heap.iter().map(|s| s.1.to_string()).collect();
        let all: Vec<f32> = heap.iter().map(|s| s.0).collect();
        finding.add(format!(
            "the {name}: {:.0} dBm, DevNonce {}",
            mean(&all).unwrap_or_default(),
            nonces.join(", ")
        ));
    }
    Some(finding)
}
