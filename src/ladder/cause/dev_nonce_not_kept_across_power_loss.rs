//! Cause `dev-nonce-not-kept-across-power-loss`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        join::{self, Case, fresh},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::DevNonceNotKeptAcrossPowerLoss,
    what: "DevNonce restarted below the last one accepted",
    places: &[Place::Join(join::Rung::Fresh)],
    kind: Kind::Exact,
    checks: &[
        Check::Join(check),
        Check::Join(|case| join::told::nonce(case, join::told::NonceFault::Restarted)),
    ],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let version = fresh::counting_rule(case)?;
    let refused = fresh::refused(case);
    let (first, attempt) = *refused.first()?;
    if fresh::draws_at_random(case) {
        return None;
    }
    let last = fresh::last_before(case, first)?;
    let nonces: Vec<u16> = refused.iter().map(|(_, a)| a.nonce()).collect();
    let newest = nonces.iter().max().copied().unwrap_or_default();
    let steps = nonces.windows(2).filter(|w| matches!(w, [a, b] if fresh::goes_on(*a, *b)));
    // Drawn at random, one such step has a probability of 1 in 1024.
    let certainty = if steps.count() >= 2 { Certainty::Certain } else { Certainty::Likely };
    let certainty = fresh::as_seen(case, &refused, certainty);
    let more = u32::from(last) + 1 - u32::from(newest);
    let mut finding = Finding::new(
        certainty,
        fact!(
            "DevNonce {dev_nonces} {verb} not above the last accepted, {last}; a {version} server \
             drops the request without an answer",
            dev_nonces = Value::Tally(nonces),
            verb = if refused.len() == 1 { "is" } else { "are" },
            last,
            version = version.name()
        ),
        fact!(
            "keep DevNonce in non-volatile memory and write it before transmitting; to recover now, \
             clear the node's nonce record on the server, or let the node count on (with {more} \
             more {requests} it passes {last})",
            more,
            requests = if more == 1 { "request" } else { "requests" },
            last
        ),
    );
    finding.add(fresh::own_frames(case, &refused));
    finding.add(fact!(
        "first refused: DevNonce {dev_nonce}, {request}",
        dev_nonce = attempt.nonce(),
        request = attempt
    ));
    let accepted = case.node.attempts.iter().take(first).rfind(|a| !a.answers.is_empty());
    finding.add(if let Some(accepted) = accepted {
        fact!(
            "DevNonce {dev_nonce} was answered before, {request}",
            dev_nonce = accepted.nonce(),
            request = accepted
        )
    } else {
        fact!("the record's last DevNonce is {last}", last)
    });
    Some(finding)
}

const PAGE: &str = r#"# dev-nonce-not-kept-across-power-loss
The version counts its DevNonce, and the node began again below the last
value accepted.

## What is seen
At the node: it joined before, lost power or was reflashed, and now gets no
answer. At the server: "DevNonce too small" or "already used", or silence.
At the gateway: good requests with small DevNonces, one higher each time.

## Why it happens
In 1.0.4 and 1.1 DevNonce is a counter for each JoinEUI. It starts at 0,
rises by one with each request and must survive a power loss. The join
server drops any request whose DevNonce is not greater than the last it
took. A node that keeps the counter in volatile memory, or erases it with an
update, starts at the bottom again.

## How to be sure
Check the MIC first: a nonce in a frame that does not authenticate proves
nothing. Fold copies (the same 23 bytes through several gateways) into one
request. Then: DevNonce <= last accepted, version 1.0.4 or 1.1, and the row
counts up from a low value. The number of requests until the node passes the
last value is last + 1 - current: it will recover by itself then, but each
attempt costs airtime and back-off.

Not this cause: a 1.0.0 to 1.0.3 record, where only reuse counts; an
unordered row (random-nonce-against-a-counting-server); two nodes with one
identity, which count in two rows. Some stacks begin at 1, not 0: no fault.

## What to do
1. Fix the node: write DevNonce to non-volatile memory before each
   transmission, and keep it through updates.
2. To recover now, clear the DevNonce record of this node on the join
   server, knowing that old requests could then be replayed; or let the node
   count on.
3. Do not lower the MAC version on the server to get round the rule.

## Example
Probe-08, 1.0.4, last accepted 39. After a battery change its requests carry
0, 1, 2; all MICs hold, none is answered. At 40 it would be taken, 38
requests after 2. At SF10 these cost 38 x 0.371 s = 14.1 s on the air.

## Source
LoRaWAN 1.0.4, p. 45-46; 1.1, 6.2.2.
"#;
