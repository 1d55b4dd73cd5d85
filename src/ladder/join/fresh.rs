//! Rung 5, fresh: DevNonce is acceptable under the version's rule.
//!
//! 1.0.0 to 1.0.3 draw it at random, and the server refuses a value used before; 1.0.4 and 1.1
//! count, and the server refuses what is not above the last (LoRaWAN 1.0.4, p. 45-46).

use crate::{
    fact::{Certainty, Fact, Value, fact},
    frame::MacVersion,
    ladder::{
        join::{Case, Rung, answered, authentic},
        rung::{Judgement, State},
    },
    trace::Attempt,
};

pub(in crate::ladder) fn judge(case: &Case<'_>, index: usize) -> Judgement {
    let Some(attempt) = case.node.attempts.get(index) else {
        return Judgement::unknown("no such attempt");
    };
    let dev_nonce = attempt.nonce();
    if attempt.ask.join().is_none() {
        return Judgement::unknown("a Rejoin-Request counts by RJcount; the record states none");
    }
    if let Some(answer) = attempt.answers.first() {
        return Judgement::proven(
            fact!("DevNonce {dev_nonce}: the server answered it", dev_nonce; at: &answer.sending),
        );
    }
    let own = is_own(case, attempt);
    if !own && !is_found_own(case, attempt) {
        return Judgement::unknown(fact!(
            "DevNonce {dev_nonce}; a nonce in a frame whose MIC was not found to hold proves nothing",
            dev_nonce
        ));
    }
    let Some(version) = case.record_version().or(case.node_version()) else {
        return Judgement::unknown("the roster states no MAC version, and with it no rule");
    };
    let judgement = if version.counts_dev_nonces() {
        counted(case, index, dev_nonce, version)
    } else {
        drawn(case, index, attempt, version)
    };
    if own {
        return judgement;
    }
    judgement.and("the MIC holds under the key that was found, so that the nonce is the node's own")
}

/// Whether the MIC holds under a key that the roster states for this node.
fn is_own(case: &Case<'_>, attempt: &Attempt) -> bool {
    attempt.holds_under.iter().any(|key| case.is_own(key))
}

/// Whether the MIC holds under the key that was found where the one on record fails.
fn is_found_own(case: &Case<'_>, attempt: &Attempt) -> bool {
    let why = || authentic::why(case);
    attempt.ask.join().is_some_and(|request| why().is_some_and(|why| why.signs(request)))
}

/// The rule of 1.0.4 and 1.1: above the last.
fn counted(case: &Case<'_>, index: usize, dev_nonce: u16, version: MacVersion) -> Judgement {
    match last_before(case, index) {
        Some(last) if dev_nonce > last => Judgement::proven(fact!(
            "DevNonce {dev_nonce}, above the last accepted, {last}",
            dev_nonce,
            last
        )),
        Some(last) if taken_after(case, index, last) => Judgement::proven(fact!(
            "DevNonce {dev_nonce}: the record's last, {last}, is that of a request in this capture",
            dev_nonce,
            last
        )),
        Some(last) => Judgement::broken(fact!(
            "DevNonce {dev_nonce} is not above the last accepted, {last} ({version} counts)",
            dev_nonce,
            last,
            version = version.name()
        )),
        None => Judgement::unknown(if let Some(later) = read_after(case, index) {
            fact!(
                "DevNonce {dev_nonce}; the record knows the nonce of {request}, which came later: it \
                 was read after it, and does not show what was accepted before",
                dev_nonce,
                request = later
            )
        } else {
            fact!("DevNonce {dev_nonce}; give the record's last-dev-nonce to judge it", dev_nonce)
        }),
    }
}

/// The rule of 1.0.0 to 1.0.3: never used before.
fn drawn(case: &Case<'_>, index: usize, attempt: &Attempt, version: MacVersion) -> Judgement {
    let dev_nonce = attempt.nonce();
    let mut before = joins(case).take_while(|(place, _)| *place < index);
    if let Some((_, earlier)) = before.find(|(_, asked)| asked.nonce() == dev_nonce) {
        return Judgement::broken(fact!(
            "DevNonce {dev_nonce} was used before, {request}",
            dev_nonce,
            request = earlier
        ));
    }
    let nonces = &case.node.earlier.nonces;
    let found = nonces.binary_search_by_key(&dev_nonce, |(nonce, _)| *nonce).ok();
    let place = attempt.line().order;
    if found.and_then(|at| nonces.get(at)).is_some_and(|(_, before)| *before < place) {
        return Judgement::broken(fact!(
            "DevNonce {dev_nonce} was used before, in an earlier request",
            dev_nonce
        ));
    }
    if case.record().is_some_and(|r| r.used_dev_nonces.contains(&dev_nonce)) {
        // The server lists what it answers, and the list may be of after this request.
        if answered::may_lack_the_answer(case, attempt) {
            return Judgement::unknown(fact!(
                "DevNonce {dev_nonce} is on the record's used list, which may be of after this \
                 request: the capture does not show whether it was answered",
                dev_nonce
            ));
        }
        // Of a capture's own requests only those that were answered are known to have been listed.
        return match read_after(case, 0) {
            Some(answered) => Judgement::unknown(fact!(
                "DevNonce {dev_nonce} is on the record's used list, and so is that of {request}, \
                 which was answered: the list was read after this capture, and does not show what \
                 was used before",
                dev_nonce,
                request = answered
            )),
            None => Judgement::broken(fact!(
                "DevNonce {dev_nonce} is on the record's used list",
                dev_nonce
            )),
        };
    }
    Judgement::proven(fact!(
        "DevNonce {dev_nonce} is not known to have been used ({version} draws at random)",
        dev_nonce,
        version = version.name()
    ))
}

/// The first request from an attempt on that was answered, and whose nonce the record knows: the
/// record was read after it.
fn read_after<'a>(case: &Case<'a>, index: usize) -> Option<&'a Attempt> {
    let record = case.record()?;
    let known = |nonce: u16| {
        record.last_dev_nonce == Some(nonce) || record.used_dev_nonces.contains(&nonce)
    };
    let mut later = joins(case).filter(|(place, _)| *place >= index).map(|(_, asked)| asked);
    later.find(|asked| !asked.answers.is_empty() && known(asked.nonce()))
}

/// The last DevNonce that the server took before an attempt: of the record, raised by every
/// request of the capture that was answered. What the record knows of later requests is left out.
pub(in crate::ladder) fn last_before(case: &Case<'_>, index: usize) -> Option<u16> {
    let later = |nonce: &u16| {
        let mut rest = joins(case).filter(|(place, _)| *place >= index);
        rest.any(|(_, asked)| !asked.answers.is_empty() && asked.nonce() == *nonce)
    };
    let recorded = case.record().and_then(|r| r.last_dev_nonce);
    let listed = case.record().into_iter().flat_map(|r| r.used_dev_nonces.iter().copied());
    let before = joins(case).take_while(|(place, _)| *place < index).map(|(_, asked)| asked);
    let answered = before.filter(|asked| !asked.answers.is_empty());
    let place = case.node.attempts.get(index).map_or(u64::MAX, |a| a.line().order);
    let forgotten = case.node.earlier.answered.filter(|(_, before)| *before < place);
    let seen = answered.map(Attempt::nonce).chain(forgotten.map(|(nonce, _)| nonce));
    let stated = recorded.into_iter().chain(listed).filter(|nonce| !later(nonce));
    seen.chain(stated).max()
}

/// The Join-Requests, with their places: the counters of Rejoin-Requests are others.
fn joins<'a>(case: &Case<'a>) -> impl Iterator<Item = (usize, &'a Attempt)> {
    case.node.attempts.iter().enumerate().filter(|(_, asked)| asked.ask.join().is_some())
}

/// Whether the record was read after this capture: its last nonce is that of the capture's last
/// request, towards which all requests count up.
fn taken_after(case: &Case<'_>, index: usize, last: u16) -> bool {
    let nonces: Vec<u16> = joins(case).map(|(_, asked)| asked.nonce()).collect();
    let rising = nonces.windows(2).all(|w| matches!(w, [a, b] if a < b));
    let recorded = case.record().and_then(|r| r.last_dev_nonce);
    let ends = rising && recorded == Some(last) && nonces.last() == Some(&last);
    ends && index < case.node.attempts.len()
}

/// What shows that the requests that were refused are the node's own.
pub(in crate::ladder) fn own_frames(case: &Case<'_>, refused: &[(usize, &Attempt)]) -> Fact {
    let requests = Value::count(refused.len(), "request");
    let fact = if refused.iter().all(|(_, attempt)| is_own(case, attempt)) {
        fact!("the MIC of {requests} holds: the frames are the node's own", requests)
    } else {
        fact!(
            "the MIC of {requests} holds under the key that was found: the frames are the node's \
             own, and the nonce fails them once the key is right",
            requests
        )
    };
    refused.iter().fold(fact, |fact, (_, attempt)| fact.at(*attempt))
}

/// The unanswered requests that the nonce rule broke.
pub(in crate::ladder) fn refused<'a>(case: &Case<'a>) -> Vec<(usize, &'a Attempt)> {
    case.broken_at(Rung::Fresh).collect()
}

/// Lowers a certainty where the capture does not show that the server dropped the requests.
pub(in crate::ladder) fn as_seen(
    case: &Case<'_>,
    refused: &[(usize, &Attempt)],
    certainty: Certainty,
) -> Certainty {
    let dropped =
        |(index, _): &(usize, &Attempt)| case.state(*index, Rung::Answered) == State::Broken;
    if refused.iter().any(dropped) { certainty } else { certainty.max(Certainty::Likely) }
}

/// The order that a series of nonces shows.
#[derive(Debug, Eq, PartialEq)]
enum Order {
    /// Each above the one before, by little.
    Counting,
    /// Neither.
    Unordered,
    /// Too few to tell.
    Unknown,
}

/// Steps that a counter may make between two requests that were heard.
const STEPS: std::ops::RangeInclusive<u16> = 1..=64;

/// Whether one nonce goes on from another as a counter does.
pub(in crate::ladder) fn goes_on(last: u16, nonce: u16) -> bool {
    STEPS.contains(&nonce.wrapping_sub(last))
}

fn order(nonces: &[u16]) -> Order {
    let steps = nonces.windows(2).count();
    let on = |w: &&[u16]| matches!(w, [a, b] if b > a && goes_on(*a, *b));
    let jumps = steps - nonces.windows(2).filter(on).count();
    match (steps, jumps) {
        (0, _) | (1, 1) => Order::Unknown,
        // One restart is still counting.
        (_, 0 | 1) => Order::Counting,
        _ => Order::Unordered,
    }
}

/// The version by whose rule nonces count, if it is such a version.
pub(in crate::ladder) fn counting_rule(case: &Case<'_>) -> Option<MacVersion> {
    let version = case.record_version().or(case.node_version())?;
    version.counts_dev_nonces().then_some(version)
}

/// Whether the node draws its nonces at random: by its own version, or by what it sends.
pub(in crate::ladder) fn draws_at_random(case: &Case<'_>) -> bool {
    let nonces: Vec<u16> = case.node.attempts.iter().map(Attempt::nonce).collect();
    match order(&nonces) {
        Order::Counting => false,
        Order::Unordered => true,
        Order::Unknown => case.node_version().is_some_and(|v| !v.counts_dev_nonces()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_order_of_nonces_tells_counting_from_chance() {
        assert_eq!(order(&[39, 0, 1, 2]), Order::Counting);
        assert_eq!(order(&[0x1A3C, 0x4410, 0xC7D9]), Order::Unordered);
        assert_eq!(order(&[7, 9, 12]), Order::Counting);
        assert_eq!(order(&[5]), Order::Unknown);
        assert_eq!(order(&[40_000, 3]), Order::Unknown);
    }
}
