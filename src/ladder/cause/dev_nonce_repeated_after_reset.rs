//! Cause `dev-nonce-repeated-after-reset`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        join::{self, Case, fresh},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::DevNonceRepeatedAfterReset,
    what: "a DevNonce that was used before",
    places: &[Place::Join(join::Rung::Fresh)],
    kind: Kind::Exact,
    checks: &[
        Check::Join(check),
        Check::Join(|case| join::told::nonce(case, join::told::NonceFault::Repeated)),
    ],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    if fresh::counting_rule(case).is_some() {
        return None;
    }
    let refused = fresh::refused(case);
    refused.first()?;
    let nonces: Vec<u16> = refused.iter().map(|(_, a)| a.nonce()).collect();
    let answered = case.node.attempts.iter().find(|a| !a.answers.is_empty());
    let listed =
        case.record().is_some_and(|r| nonces.iter().all(|n| r.used_dev_nonces.contains(n)));
    let one_value = nonces.iter().all(|n| Some(n) == nonces.first());
    let several = !one_value && (refused.len() >= 2 || answered.is_some());
    let certainty = if listed || several { Certainty::Certain } else { Certainty::Likely };
    let certainty = fresh::as_seen(case, &refused, certainty);
    let mut finding = Finding::new(
        certainty,
        fact!(
            "DevNonce {dev_nonces} {verb} used before: the server takes the request for a repeat \
             and drops it",
            dev_nonces = Value::Tally(nonces),
            verb = if one_value { "was" } else { "were" }
        ),
        "seed the node's random source from real noise (not a constant), or keep a counter in \
         non-volatile memory; to recover now, clear the used values on the server",
    );
    finding.add(fresh::own_frames(case, &refused));
    finding.add("each value is on the record's used list or in an earlier request");
    if one_value && !listed {
        finding.add(
            "the bytes are the same each time: a stranger who replays what he heard looks alike",
        );
    }
    if let Some(answered) = answered {
        finding.add(fact!(
            "{request}: DevNonce {dev_nonce}, unused, was answered",
            request = answered,
            dev_nonce = answered.nonce()
        ));
    }
    Some(finding)
}

const PAGE: &str = r#"# dev-nonce-repeated-after-reset
The node offers DevNonces that it has used before, and a server with a used
list refuses them.

## What is seen
At the node: after each reset the first attempts fail and a later one
succeeds; each time a little later. At the server: "DevNonce already used"
or silence. At the gateway: the same first values after every reset.

## Why it happens
In 1.0.0 to 1.0.3 DevNonce is a random 16-bit value. The server remembers
values it has seen and ignores a repeat. A random source that is seeded with
a constant gives the same row after every reset, so the node walks through
its own used values until it reaches a new one.

## How to be sure
After the MIC holds: is the value in the used list, or in an earlier request
of the same DevEUI that is not a copy? Copies have the same 23 bytes within
the de-duplication time and count once; a different time and the same bytes
is a true repeat. Two rows that are equal from their start after two resets
name the generator.

Chance must be weighed: with u used values of 65 536 one good random value
repeats with a probability of u / 65 536: 1.5 % at 1 000. So one repeat is
ordinary, three in a row are not (3.6e-6). This is not "too small": order
means nothing in these versions. It is not a replay attack if the node's log
shows that it sent the request.

## What to do
1. Seed the generator from noise, such as radio readings and a unique number
   of the chip, or use a counter kept in non-volatile memory: the used list
   does not mind a counter.
2. To recover, let the node try on, with growing pauses, or clear the list
   on the server.
3. Moving to 1.0.4 makes the counter a rule.

## Example
1.0.2, used list 0C4E, 77A1, F103. After a power cut probe-14 sends 0C4E,
77A1, F103 and gets no answer; its fourth, 2B90, is answered. At the next
cut it will need five attempts.

## Source
LoRaWAN 1.0.3, p. 35-36 (random DevNonce, values remembered).
"#;
