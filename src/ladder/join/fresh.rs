//! Rung 5, fresh: DevNonce is acceptable under the version's rule.
//!
//! 1.0.0 to 1.0.3 draw it at random, and the server refuses a value used before; 1.0.4 and 1.1
//! count, and the server refuses what is not above the last (LoRaWAN 1.0.4, p. 45-46).

use crate::{
    fact::Certainty,
    ladder::{
        finding::Finding,
        join::{Case, Rung},
        rung::{Judgement, State},
        words::{count, tally},
    },
    trace::Attempt,
};

pub(in crate::ladder) fn judge(case: &Case<'_>, index: usize) -> Judgement {
    let Some(attempt) = case.node.attempts.get(index) else {
        return Judgement::unknown("no such attempt");
    };
    let nonce = attempt.nonce();
    if attempt.ask.join().is_none() {
        return Judgement::unknown("a Rejoin-Request counts by RJcount; the record states none");
    }
    if !attempt.answers.is_empty() {
        return Judgement::proven(format!("DevNonce {nonce}: the server answered it"));
    }
    if !authentic(case, attempt) {
        return Judgement::unknown(format!(
            "DevNonce {nonce}; a nonce in a frame whose MIC was not found to hold proves nothing"
        ));
    }
    let Some(version) = case.record_version().or(case.node_version()) else {
        return Judgement::unknown("the roster states no MAC version, and with it no rule");
    };
    if version.counts_dev_nonces() {
        return match last_before(case, index) {
            Some(last) if nonce > last => {
                Judgement::proven(format!("DevNonce {nonce}, above the last accepted, {last}"))
            }
            Some(last) if taken_after(case, index, last) => Judgement::proven(format!(
                "DevNonce {nonce}: the record's last, {last}, is that of a request in this capture"
            )),
            Some(last) => Judgement::broken(format!(
                "DevNonce {nonce} is not above the last accepted, {last} ({} counts)",
                version.name()
            )),
            None => Judgement::unknown(format!(
                "DevNonce {nonce}; give the record's last-dev-nonce to judge it"
            )),
        };
    }
    let used = case.record().is_some_and(|r| r.used_dev_nonces.contains(&nonce));
    let earlier = case.node.attempts.iter().take(index).find(|a| a.nonce() == nonce);
    let place = attempt.line().order;
    let forgotten = || {
        let nonces = &case.node.earlier.nonces;
        let found = nonces.binary_search_by_key(&nonce, |(nonce, _)| *nonce).ok();
        found.and_then(|at| nonces.get(at)).is_some_and(|(_, before)| *before < place)
    };
    match (used, earlier) {
        (true, _) => Judgement::broken(format!("DevNonce {nonce} is on the record's used list")),
        (false, Some(earlier)) => {
            Judgement::broken(format!("DevNonce {nonce} was used before, {}", earlier.line()))
        }
        (false, None) if forgotten() => {
            Judgement::broken(format!("DevNonce {nonce} was used before, in an earlier request"))
        }
        (false, None) => Judgement::proven(format!(
            "DevNonce {nonce} is not known to have been used ({} draws at random)",
            version.name()
        )),
    }
}

fn authentic(case: &Case<'_>, attempt: &Attempt) -> bool {
    attempt.holds_under.iter().any(|key| case.is_own(key))
}

/// The last DevNonce that the server took before an attempt: of the record, raised by every
/// request of the capture that was answered.
fn last_before(case: &Case<'_>, index: usize) -> Option<u16> {
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
fn refused<'a>(case: &Case<'a>) -> Vec<(usize, &'a Attempt)> {
    case.broken_at(Rung::Fresh).collect()
}

/// Lowers a certainty where the capture does not show that the server dropped the requests.
fn as_seen(case: &Case<'_>, refused: &[(usize, &Attempt)], certainty: Certainty) -> Certainty {
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

fn order(nonces: &[u16]) -> Order {
    let steps: Vec<i32> = nonces
        .windows(2)
        .filter_map(|w| if let [a, b] = w { Some(i32::from(*b) - i32::from(*a)) } else { None })
        .collect();
    if steps.is_empty() {
        return Order::Unknown;
    }
    if steps.iter().all(|s| (1..=64).contains(s)) {
        return Order::Counting;
    }
    // One restart is still counting.
    let jumps = steps.iter().filter(|s| !(1..=64).contains(*s)).count();
    match (steps.len(), jumps) {
        (1, 1) => Order::Unknown,
        (n, 1) if n >= 2 => Order::Counting,
        _ => Order::Unordered,
    }
}

/// How many times a series goes on as a counter does.
fn counted_steps(nonces: &[u16]) -> usize {
    let step = |w: &&[u16]| matches!(w, [a, b] if (1..=64).contains(&b.wrapping_sub(*a)));
    nonces.windows(2).filter(step).count()
}

/// Whether a series may be that of two counters that take turns: of two nodes under one identity.
fn may_be_two_counters(nonces: &[u16]) -> bool {
    let mut counters: [Option<u16>; 2] = [None; 2];
    nonces.iter().all(|nonce| {
        let goes_on =
            |last: &Option<u16>| last.is_some_and(|l| (1..=64).contains(&nonce.wrapping_sub(l)));
        let own = counters.iter().position(goes_on);
        let place = own.or_else(|| counters.iter().position(Option::is_none));
        let counter = place.and_then(|place| counters.get_mut(place));
        counter.map(|last| *last = Some(*nonce)).is_some()
    })
}

fn counting_rule(case: &Case<'_>) -> Option<crate::frame::MacVersion> {
    let version = case.record_version().or(case.node_version())?;
    version.counts_dev_nonces().then_some(version)
}

/// Whether the node draws its nonces at random: by its own version, or by what it sends.
fn draws_at_random(case: &Case<'_>) -> bool {
    let nonces: Vec<u16> = case.node.attempts.iter().map(Attempt::nonce).collect();
    match order(&nonces) {
        Order::Counting => false,
        Order::Unordered => true,
        Order::Unknown => case.node_version().is_some_and(|v| !v.counts_dev_nonces()),
    }
}

pub(in crate::ladder) fn not_kept(case: &Case<'_>) -> Option<Finding> {
    let version = counting_rule(case)?;
    let refused = refused(case);
    let (first, attempt) = *refused.first()?;
    if draws_at_random(case) {
        return None;
    }
    let last = last_before(case, first)?;
    let nonces: Vec<u16> = refused.iter().map(|(_, a)| a.nonce()).collect();
    let newest = refused.iter().map(|(_, a)| a.nonce()).max().unwrap_or_default();
    let counted = counted_steps(&refused.iter().map(|(_, a)| a.nonce()).collect::<Vec<_>>());
    // Drawn at random, one such step has odds of 1 in 1024.
    let certainty = if counted >= 2 { Certainty::Certain } else { Certainty::Likely };
    let certainty = as_seen(case, &refused, certainty);
    let more = u32::from(last) + 1 - u32::from(newest);
    let mut finding = Finding::new(
        certainty,
        format!(
            "DevNonce {} {} the last accepted, {last}; a {} server drops the request without a word",
            tally(&nonces),
            if refused.len() == 1 { "is not above" } else { "are not above" },
            version.name()
        ),
        format!(
            "keep DevNonce in non-volatile memory and write it before transmitting; to recover now, \
             clear the node's nonce record on the server, or let the node count on (with {more} \
             more {} it passes {last})",
            if more == 1 { "request" } else { "requests" }
        ),
    );
    finding.add(format!(
        "the MIC of {} holds: key and identity are right",
        count(refused.len(), "request")
    ));
    finding.add(format!("first refused: DevNonce {}, {}", attempt.nonce(), attempt.line()));
    let accepted = case.node.attempts.iter().take(first).rfind(|a| !a.answers.is_empty());
    finding.add(match accepted {
        Some(a) => format!("DevNonce {} was answered before, {}", a.nonce(), a.line()),
        None => format!("the record's last-dev-nonce is {last}"),
    });
    Some(finding)
}

pub(in crate::ladder) fn random(case: &Case<'_>) -> Option<Finding> {
    let version = counting_rule(case)?;
    let refused = refused(case);
    let (first, _) = *refused.first()?;
    if !draws_at_random(case) {
        return None;
    }
    let last = last_before(case, first)?;
    let taken = case.node.attempts.iter().find(|a| !a.answers.is_empty() && a.nonce() > last);
    let stated = case.node_version().is_some_and(|v| !v.counts_dev_nonces());
    let nonces: Vec<u16> = case.node.attempts.iter().map(Attempt::nonce).collect();
    let unordered = taken.is_some() && refused.len() >= 2 && !may_be_two_counters(&nonces);
    let certainty = if stated || unordered { Certainty::Certain } else { Certainty::Likely };
    let certainty = as_seen(case, &refused, certainty);
    let mut finding = Finding::new(
        certainty,
        format!(
            "the node draws DevNonce at random, the record's version {} wants it to grow: {} below \
             the last accepted went unanswered",
            version.name(),
            count(refused.len(), "request")
        ),
        "register the node under the version it has (1.0.2 or 1.0.3), or give it a DevNonce that \
         counts and is kept",
    );
    for (_, attempt) in refused.iter().take(4) {
        finding.add(format!("{}: DevNonce {} unanswered", attempt.line(), attempt.nonce()));
    }
    finding.add(format!("the last accepted before was {last}"));
    if let Some(taken) = taken {
        finding.add(format!("{}: DevNonce {}, above it, answered", taken.line(), taken.nonce()));
    }
    if let Some(version) = case.node_version() {
        finding.add(format!("the firmware states version {}", version.name()));
    }
    Some(finding)
}

pub(in crate::ladder) fn repeated(case: &Case<'_>) -> Option<Finding> {
    if counting_rule(case).is_some() {
        return None;
    }
    let refused = refused(case);
    let (_, first) = *refused.first()?;
    let nonces: Vec<u16> = refused.iter().map(|(_, a)| a.nonce()).collect();
    let fresh = case.node.attempts.iter().find(|a| !a.answers.is_empty());
    let listed =
        case.record().is_some_and(|r| nonces.iter().all(|n| r.used_dev_nonces.contains(n)));
    let one_value = nonces.iter().all(|n| Some(n) == nonces.first());
    let several = !one_value && (refused.len() >= 2 || fresh.is_some());
    let certainty = if listed || several { Certainty::Certain } else { Certainty::Likely };
    let certainty = as_seen(case, &refused, certainty);
    let mut finding = Finding::new(
        certainty,
        format!(
            "DevNonce {} {} used before: the server takes the request for a repeat and drops it",
            tally(&nonces),
            if one_value { "was" } else { "were" }
        ),
        "seed the node's random source from real noise (not a constant), or keep a counter in \
         non-volatile memory; to recover now, clear the used values on the server",
    );
    finding.add(format!("the MIC holds: key and identity are right (first: {})", first.line()));
    finding.add("each value stands on the record's used list or in an earlier request".to_owned());
    if one_value && !listed {
        finding.add(
            "the octets are the same each time: a stranger who replays what he heard looks alike"
                .to_owned(),
        );
    }
    if let Some(fresh) = fresh {
        finding.add(format!("{}: DevNonce {}, unused, was answered", fresh.line(), fresh.nonce()));
    }
    Some(finding)
}

/// Whether any attempt is known to be fresh.
pub(in crate::ladder) fn ever(case: &Case<'_>) -> bool {
    case.ever(Rung::Fresh, State::Proven)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_counters_that_take_turns_are_no_chance() {
        assert!(may_be_two_counters(&[40, 7, 41, 8, 9, 42]));
        assert!(!may_be_two_counters(&[0x1A3C, 0x4410, 0xC7D9]));
    }

    #[test]
    fn the_order_of_nonces_tells_counting_from_chance() {
        assert_eq!(order(&[39, 0, 1, 2]), Order::Counting);
        assert_eq!(order(&[0x1A3C, 0x4410, 0xC7D9]), Order::Unordered);
        assert_eq!(order(&[7, 9, 12]), Order::Counting);
        assert_eq!(order(&[5]), Order::Unknown);
        assert_eq!(order(&[40_000, 3]), Order::Unknown);
    }
}
