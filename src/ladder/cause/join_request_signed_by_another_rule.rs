//! Cause `join-request-signed-by-another-rule`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        join::{self, Case, authentic, why::Why},
    },
    trace::Attempt,
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::JoinRequestSignedByAnotherRule,
    what: "the root key is right, and the node computes the MIC in a way of its own",
    places: &[Place::Join(join::Rung::Authentic)],
    kind: Kind::Exact,
    checks: &[Check::Join(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let Some(Why::Misread(found)) = authentic::why(case) else { return None };
    let what: Vec<Value> = found.mistakes.iter().map(|row| row.what.into()).collect();
    let keys: Vec<Value> = found.roots.iter().cloned().map(Value::from).collect();
    let mut finding = Finding::new(
        Certainty::of_probability(found.odds),
        fact!(
            "the MIC holds under {keys} if the node {what}",
            keys = Value::List(keys, " or "),
            what = Value::List(what, ", and ")
        ),
        "correct the computation of the MIC in the node's stack: AES-CMAC over MHDR, JoinEUI, \
         DevEUI and DevNonce as sent; the first four bytes in their order",
    );
    for row in &found.mistakes {
        finding.add(fact!("the standard: {standard}", standard = row.standard));
    }
    finding.add(fact!(
        "it holds for {requests}; {tried} tried",
        requests = Value::count(found.held, "request"),
        tried = Value::Count(found.tried, "way")
    ));
    finding.false_match = Some(found.odds);
    // A stack that misreads the standard misreads it every time.
    let own = |a: &&Attempt| a.holds_under.iter().any(|key| case.is_own(key));
    let standard = case.node.attempts.iter().filter(own).count();
    if standard > 0 {
        finding.certainty = Certainty::Possible;
        finding.add(fact!(
            "{requests} under this DevEUI hold as the standard says: another stack or another sender is as likely",
            requests = Value::count(standard, "request")
        ));
    }
    Some(finding)
}

const PAGE: &str = r"# join-request-signed-by-another-rule
The root key is right, yet the node computes the MIC of its Join-Request in
a way of its own.

## What is seen
On the node: it asks again and again. On the server: MIC failed, or nothing.
In the capture: the MIC fails under the key on record, although both sides
show the same key, and no typing error of the key explains it.

## Why it happens
The stack builds the input of the MIC wrongly: an EUI or DevNonce in the
other byte order than in the frame, the two EUIs swapped, MHDR left out,
or the last four bytes of the CMAC taken instead of the first. Ported and
home-made stacks do this; a stack in wide use does not.

## How to be sure
Compute the CMAC with each of these changes, one at a time and then two
together, under every root key that is claimed. A change that makes the MIC of
every request hold is not an accident: some hundred candidates against 32 bits
a frame leave a false-match probability of about 3e-8 for one frame, and of
1e-17 for two.

A damaged frame cannot look like this twice. A key that is wrong in a few
digits is searched for first, and would be found first.

## What to do
1. Take the bytes of one request, MHDR to DevNonce as sent, 19 of them.
2. Compute AES-CMAC under the root key; the first four bytes are the MIC.
3. Fix the stack until it sends these four bytes in this order.
4. `handfast compose` makes a request with known values to compare with.

## Example
probe-14 sends DevEUI 02-00-00-FF-FE-1A-2B-3C least significant byte first,
as it must, but feeds its CMAC the printed order. The frame reads well, the
key is right, and every server drops it.

## Source
LoRaWAN 1.0.4, p. 45; LoRaWAN 1.1, 6.2.2; RFC 4493.
";
