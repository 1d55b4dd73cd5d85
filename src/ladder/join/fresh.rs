//! Rung 5, fresh: DevNonce is acceptable under the version's rule.
//!
//! 1.0.0 to 1.0.3 draw it at random, and the server refuses a value used before; 1.0.4 and 1.1
//! count, and the server refuses what is not above the last (LoRaWAN 1.0.4, p. 45-46).

use crate::{
    fact::{Certainty, fact},
    frame::MacVersion,
    ladder::{
        join::{Case, Rung},
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
    if !authentic(case, attempt) {
        return Judgement::unknown(fact!(
            "DevNonce {dev_nonce}; a nonce in a frame whose MIC was not found to hold proves nothing",
            dev_nonce
        ));
    }
    let Some(version) = case.record_version().or(case.node_version()) else {
        return Judgement::unknown("the roster states no MAC version, and with it no rule");
    };
    if version.counts_dev_nonces() {
        counted(case, index, dev_nonce, version)
    } else {
        drawn(case, index, attempt, version)
    }
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
        None => Judgement::unknown(fact!(
            "DevNonce {dev_nonce}; give the record's last-dev-nonce to judge it",
            dev_nonce
        )),
    }
}

/// The rule of 1.0.0 to 1.0.3: never used before.
fn drawn(case: &Case<'_>, index: usize, attempt: &Attempt, version: MacVersion) -> Judgement {
    let dev_nonce = attempt.nonce();
    if case.record().is_some_and(|r| r.used_dev_nonces.contains(&dev_nonce)) {
        return Judgement::broken(fact!(
            "DevNonce {dev_nonce} is on the record's used list",
            dev_nonce
        ));
    }
    let earlier = case.node.attempts.iter().take(index).find(|a| a.nonce() == dev_nonce);
    if let Some(earlier) = earlier {
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
    Judgement::proven(fact!(
        "DevNonce {dev_nonce} is not known to have been used ({version} draws at random)",
        dev_nonce,
        version = version.name()
    ))
}

fn authentic(case: &Case<'_>, attempt: &Attempt) -> bool {
    attempt.holds_under.iter().any(|key| case.is_own(key))
}

/// The last DevNonce that the server took before an attempt: of the record, raised by every
/// request of the capture that was answered.
pub(in crate::ladder) fn last_before(case: &Case<'_>, index: usize) -> Option<u16> {
    let recorded = case.record().and_then(|r| r.last_dev_nonce);
    let listed = case.record().and_then(|r| r.used_dev_nonces.iter().max().copied());
    let answered = case.node.attempts.iter().take(index).filter(|a| !a.answers.is_empty());
    let place = case.node.attempts.get(index).map_or(u64::MAX, |a| a.line().order);
    let forgotten = case.node.earlier.answered.filter(|(_, before)| *before < place);
    let seen = answered.map(Attempt::nonce).chain(forgotten.map(|(nonce, _)| nonce));
    seen.chain(recorded).chain(listed).max()
}

/// Whether the record was read after this capture: its last nonce is that of the capture's last
/// request, towards which all requests count up.
fn taken_after(case: &Case<'_>, index: usize, last: u16) -> bool {
    let nonces: Vec<u16> = case.node.attempts.iter().map(Attempt::nonce).collect();
    let rising = nonces.windows(2).all(|w| matches!(w, [a, b] if a < b));
    let recorded = case.record().and_then(|r| r.last_dev_nonce);
    rising && recorded == Some(last) && nonces.last() == Some(&last) && index < nonces.len()
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

/// Whether any attempt is known to be fresh.
pub(in crate::ladder) fn ever(case: &Case<'_>) -> bool {
    case.ever(Rung::Fresh, State::Proven)
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
