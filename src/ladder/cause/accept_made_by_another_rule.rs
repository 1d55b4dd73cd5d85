//! Cause `accept-made-by-another-rule`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    explore::misreading::{self, Family},
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        join::{
            self, Case,
            acceptable::{
                MOST_TOLD,
                closed::{closed, for_another_attempt, misread},
            },
        },
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::AcceptMadeByAnotherRule,
    what: "the accept is signed or encrypted in a way that the standard does not know",
    places: &[Place::Join(join::Rung::Acceptable)],
    kind: Kind::Exact,
    checks: &[Check::Join(check)],
    page: PAGE,
};

/// Whether this is why the node opens none of its accepts.
pub(super) fn is_it(case: &Case<'_>) -> bool {
    explained(case).is_some()
}

fn explained(case: &Case<'_>) -> Option<misreading::Finding> {
    if !for_another_attempt(case).is_empty() {
        return None;
    }
    let found = misread(case, &closed(case))?;
    found.families().contains(&Family::AcceptSealing).then_some(found)
}

fn check(case: &Case<'_>) -> Option<Finding> {
    let found = explained(case)?;
    let what = found.mistakes.iter().map(|row| Value::from(row.what)).collect();
    let keys = found.roots.iter().cloned().map(Value::from).collect();
    let mut finding = Finding::new(
        Certainty::of_probability(found.odds),
        fact!(
            "the accept opens under {keys} if the server {what}",
            keys = Value::List(keys, " or "),
            what = Value::List(what, ", and ")
        ),
        "correct how the server makes Join-Accepts: sign MHDR and all fields, then turn fields and \
         MIC by AES decryption, block by block",
    );
    for row in &found.mistakes {
        finding.add(fact!("the standard: {standard}", standard = row.standard));
        finding.add(fact!("what is seen of it: {seen}", seen = row.seen));
    }
    for (attempt, answer) in closed(case).iter().take(MOST_TOLD) {
        finding.add(fact!(
            "{accept} (for {request})",
            accept = &answer.sending,
            request = attempt.heard.first()
        ));
    }
    finding.false_match = Some(found.odds);
    Some(finding)
}

const PAGE: &str = r"# accept-made-by-another-rule
The server signs or encrypts the Join-Accept in a way that the standard does
not know.

## What is seen
On the node: it hears something and drops it, and asks again. On the server:
accept sent. At the gateway: taken. In the capture: the accept opens under
no key by either rule of the standard.

## Why it happens
A home-made server encrypts where it must decrypt, chains the blocks, leaves
the MIC in clear or MHDR out of the MIC, takes a field in the other byte
order, or uses JSEncKey where the root key belongs.

## How to be sure
Open the accept with each of these changes, one at a time and then two
together, and check the MIC by the rule so changed. Some thousand candidates
against 32 bits leave a false-match probability of about 2e-6 for one accept;
two accepts that hold under the same change leave no doubt.

If the accept opens by the standard under a key that is not the node's, the
cause is accept-for-another-key. If it opens with the DevNonce of an earlier
request, it is accept-answers-another-attempt.

## What to do
1. On the server, sign MHDR and all fields (1.0.x), or JoinReqType, JoinEUI,
   DevNonce, MHDR and all fields under JSIntKey (1.1 with OptNeg).
2. Then turn fields and MIC, 16 or 32 bytes, by AES *decryption*, block by
   block, so that the node needs encryption only.
3. Compare with `handfast compose` for the same values.

## Example
A test server of the orchard calls encrypt for every block. Each probe turns
the accept with encrypt as well, gets noise, and drops it.

## Source
LoRaWAN 1.0.4, p. 46; LoRaWAN 1.1, 6.2.3.
";
