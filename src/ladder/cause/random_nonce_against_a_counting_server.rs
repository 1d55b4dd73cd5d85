//! Cause `random-nonce-against-a-counting-server`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        join::{self, Case, fresh},
    },
    trace::Attempt,
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::RandomNonceAgainstACountingServer,
    what: "the node's DevNonces are random, the record's version needs them to grow",
    places: &[Place::Join(join::Rung::Fresh)],
    kind: Kind::Exact,
    checks: &[
        Check::Join(check),
        Check::Join(|case| join::told::nonce(case, join::told::NonceFault::Drawn)),
    ],
    page: PAGE,
};

/// Requests that are quoted.
const QUOTED: usize = 4;

fn check(case: &Case<'_>) -> Option<Finding> {
    let version = fresh::counting_rule(case)?;
    let refused = fresh::refused(case);
    let (first, _) = *refused.first()?;
    if !fresh::draws_at_random(case) {
        return None;
    }
    let last = fresh::last_before(case, first)?;
    let taken = case.node.attempts.iter().find(|a| !a.answers.is_empty() && a.nonce() > last);
    let stated = case.node_version().is_some_and(|v| !v.counts_dev_nonces());
    let nonces: Vec<u16> = case.node.attempts.iter().map(Attempt::nonce).collect();
    let unordered = taken.is_some() && refused.len() >= 2 && !may_be_two_counters(&nonces);
    let certainty = if stated || unordered { Certainty::Certain } else { Certainty::Likely };
    let certainty = fresh::as_seen(case, &refused, certainty);
    let mut finding = Finding::new(
        certainty,
        fact!(
            "the node draws DevNonce at random, the record's version {version} needs it to grow: \
             {requests} below the last accepted went unanswered",
            version = version.name(),
            requests = Value::count(refused.len(), "request")
        ),
        "register the node under the version it has (1.0.2 or 1.0.3), or give it a DevNonce that \
         counts and is kept",
    );
    for (_, attempt) in refused.iter().take(QUOTED) {
        finding.add(fact!(
            "{request}: DevNonce {dev_nonce} unanswered",
            request = *attempt,
            dev_nonce = attempt.nonce()
        ));
    }
    finding.add(fact!("the last accepted before was {last}", last));
    if let Some(taken) = taken {
        finding.add(fact!(
            "{request}: DevNonce {dev_nonce}, above it, answered",
            request = taken,
            dev_nonce = taken.nonce()
        ));
    }
    if let Some(version) = case.node_version() {
        finding.add(fact!("the firmware states version {version}", version = version.name()));
    }
    Some(finding)
}

/// Whether a series may be that of two counters that take turns: of two nodes under one identity.
fn may_be_two_counters(nonces: &[u16]) -> bool {
    let mut counters: [Option<u16>; 2] = [None; 2];
    nonces.iter().all(|nonce| {
        let goes_on = |last: &Option<u16>| last.is_some_and(|last| fresh::goes_on(last, *nonce));
        let own = counters.iter().position(goes_on);
        let place = own.or_else(|| counters.iter().position(Option::is_none));
        let counter = place.and_then(|place| counters.get_mut(place));
        counter.map(|last| *last = Some(*nonce)).is_some()
    })
}

const PAGE: &str = r#"# random-nonce-against-a-counting-server
The node draws its DevNonce at random, while the record's version expects it
to grow.

## What is seen
At the node: it joins now and then, ever more rarely. At the server:
"DevNonce too small" for most requests. At the gateway: DevNonces without
order, all MICs good.

## Why it happens
Up to 1.0.3 DevNonce is random; from 1.0.4 it is a counter, and a request
whose value has not increased is dropped. The node follows the old rule and
is registered as 1.0.4 or 1.1, or the server applies the new rule to all
versions. Each accepted value raises the bar: after v only (65 535 - v) /
65 536 of random values pass.

## How to be sure
All MICs hold; the values are unordered; those above the last accepted were
answered, those below were not, and none of the refused values is a repeat.
The more attempts agree with "answered if and only if greater", the surer:
each adds evidence, and one counter-example ends the theory. For random values
a rising row of four has a probability of 1 in 24, so "random" needs more than
a few.

It is not dev-nonce-not-kept-across-power-loss, whose row counts up from a
low value, nor dev-nonce-repeated-after-reset. Coverage does not sort its
losses by DevNonce.

## What to do
1. Register the version that the node really has (1.0.2 or 1.0.3), or
2. update the node to a stack with a stored counter, and clear the server's
   record once.
3. If the server counts for old versions as well, ask its operator to apply
   the rule by version.
4. Let the node widen the pauses between attempts meanwhile; airtime limits
   hold for failed joins, too.

## Example
Last accepted 8F21 (36 641). The probe offers 1A3C, 4410 and C7D9: no
answer, no answer, accept. Before C7D9 a random value passed with (65 535 -
36 641) / 65 536 = 44 %; after it (C7D9 = 51 161) with 22 %.

## Source
LoRaWAN 1.0.3, p. 36 (random); 1.0.4, p. 45-46 (counter).
"#;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_counters_that_take_turns_are_not_chance() {
        assert!(may_be_two_counters(&[40, 7, 41, 8, 9, 42]));
        assert!(!may_be_two_counters(&[0x1A3C, 0x4410, 0xC7D9]));
    }
}
