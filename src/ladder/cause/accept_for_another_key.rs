//! Cause `accept-for-another-key`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, fact},
    ladder::{
        finding::Finding,
        join::{
            self, Case,
            acceptable::{
                MOST_TOLD,
                closed::{closed, for_another_attempt},
                whose,
            },
            accepts,
        },
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::AcceptForAnotherKey,
    what: "the accept opens under no key of the node",
    places: &[Place::Join(join::Rung::Acceptable)],
    kind: Kind::Exact,
    checks: &[Check::Join(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let closed = closed(case);
    let (_, first) = *closed.first()?;
    if !for_another_attempt(case).is_empty() || super::accept_made_by_another_rule::is_it(case) {
        return None;
    }
    let foreign = first.openings.first();
    // One alone may be for another node, whose request the capture lacks.
    let own = closed.iter().map(|(attempt, _)| *attempt);
    let sure = accepts::of_several(own.filter(|own| !accepts::is_beside_another(case, own)));
    let certainty = if sure { Certainty::Certain } else { Certainty::Likely };
    let mut finding = Finding::new(
        certainty,
        "the accept opens under no key that the node signs with: the server signs and encrypts it \
         with another one",
        "enter the key that signs the request wherever the server keeps the key for accepts (the \
         join server's copy included)",
    );
    for (attempt, answer) in closed.iter().take(MOST_TOLD) {
        finding.add(fact!(
            "{accept} (for {request}): the MIC fails by the 1.0 and the 1.1 rule under every key of \
             the node",
            accept = &answer.sending,
            request = attempt.heard.first()
        ));
    }
    if let Some(opening) = foreign {
        finding.add(fact!("it opens under {key}", key = whose(case, &opening.key)));
        finding = finding.matched_by_chance(1.0, closed.len());
    }
    finding.add("the request itself is signed with a claimed key");
    Some(finding)
}

const PAGE: &str = r"# accept-for-another-key
The accept opens under no key of the node: the server made it with another
one.

## What is seen
At the server: request taken, accept sent. At the gateway: sent in time. At
the node: a frame arrives in the window, its MIC fails, and the node goes on
as if nothing had come.

## Why it happens
The server checked the request with one key and made the accept with
another: a key changed between the two, one of two root keys used for each
step, a key store with an old copy, or a server that does not check requests
at all. Or the accept was made by AES encryption in place of decryption, or
in a chained mode.

## How to be sure
The request's MIC holds under the node's key. The accept, opened under that
key (AES encryption of each 16 byte block after MHDR), gives fields with no
sense and a MIC that fails by the 1.0 and by the 1.1 rule. Try the other
keys of node and record: if one opens it, name it (false-match probability
1 in 4 294 967 296 for each key and rule).

First be sure that it is this node's accept. An accept does not name its
receiver; with other nodes about it may be theirs, and then it opens under
theirs. A failed MIC by one rule only is a matter of version. Fields read
out of an accept that does not authenticate are noise: half of all wrong
openings seem to have OptNeg set.

## What to do
1. Compare the root keys in network server and join server; remove old
   copies.
2. In a new server test the accept with a known answer: the server decrypts,
   so that the node needs encryption only.
3. If the key was changed, change it on the node, too.

## Example
Probe-03's requests hold under key A, which firmware and record both have.
Three accepts follow at 5.000000 s; none opens under A. All open under the
key that the record had until Monday: the join server's cache still holds it
for answers.

## Source
LoRaWAN 1.0.4, p. 46; 1.0.3, p. 36; 1.1, 6.2.3.
";
