//! Cause `session-keys-derived-by-another-rule`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    explore::misreading::Family,
    fact::{Certainty, fact},
    ladder::{
        finding::Finding,
        join::{
            self, Case,
            proven::{
                cite,
                derived::{against_opt_neg, crossed, explored, ignores_fallback},
            },
        },
    },
    trace::Rule,
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::SessionKeysDerivedByAnotherRule,
    what: "the first uplink verifies under a misread derivation only",
    places: &[Place::Join(join::Rung::Proven)],
    kind: Kind::Exact,
    checks: &[Check::Join(check)],
    page: PAGE,
};

/// Evidence of one kind is told of this many frames.
const MOST_TOLD: usize = 4;

fn check(case: &Case<'_>) -> Option<Finding> {
    if ignores_fallback(case).is_some() {
        return None;
    }
    if let Some(finding) = by_1_0(case) {
        return Some(finding);
    }
    if crossed(case).is_some() {
        return None;
    }
    let explored = explored(case)?;
    (explored.found.first_family() == Some(Family::SessionKeys))
        .then(|| explored.finding("derivation"))
}

/// OptNeg is 1, yet the data verifies by the 1.0 rule.
fn by_1_0(case: &Case<'_>) -> Option<Finding> {
    let (session, frames) = against_opt_neg(case, Rule::V1_0)?;
    let mut finding = Finding::new(
        Certainty::Certain,
        "OptNeg is 1 in the accept, so that the 1.1 rule derives the keys; the node's data \
         authenticates by the 1.0 rule only",
        "correct the node's stack (with OptNeg 1 the 1.1 rule derives the keys), or set the record to \
         the version that the node has",
    );
    for seen in frames.iter().take(MOST_TOLD) {
        finding.add(fact!(
            "{frame}: FCnt {fcnt} of DevAddr {dev_addr} holds by the 1.0 rule",
            frame = cite(seen),
            fcnt = seen.held.fcnt,
            dev_addr = session.dev_addr
        ));
    }
    Some(finding.matched_by_chance(2.0, frames.len()))
}

const PAGE: &str = r"# session-keys-derived-by-another-rule
The first uplink verifies only under keys derived in a way that the standard
does not give.

## What is seen
At the server: join good, every data frame with wrong MIC. At the node:
joined, no downlink is taken. At the gateway: DevAddr is the one just given.

## Why it happens
One side builds the block for the session keys wrongly: first bytes 01 and
02 swapped; NetID where JoinEUI belongs, or the reverse; JoinNonce, NetID
or DevNonce most significant byte first; DevNonce of another attempt;
padding missing; AppKey in place of NwkKey.

## How to be sure
Derive by the rule of the version from the accept and the request it answers;
the MIC of the first uplink (FCnt 0 or 1) fails. Then derive by each known
misreading. One that holds is certain with 4 bytes of MIC: n variations on one
frame are an accident with a probability of n in 4 294 967 296; ask for a
second frame. In 1.1 halves of 2 bytes are checked apart, so more frames are
needed.

The frame shows how the node derives. It is the node that errs if the
standard's rule does not fit its frames; it is the server if a node that
works elsewhere fails here and the node's frames do fit the rule. Then the
server's claim of session keys shows the misreading. Test all accepts seen
before: the data may belong to an earlier one. Test the upper half of FCnt,
too.

## What to do
1. Put the named field right in the derivation, on the side named.
2. Check it against a published answer before the next try.
3. Check AppSKey as well: the MIC does not show it.

## Example
Accept for request DevNonce 5: JoinNonce 42, NetID 000001, DevAddr 020C2107;
invented AppKey A0A1...AF. First uplink: 40 07210C02 00 0000 02 4896F7DB,
MIC F7C26BED. NwkSKey by the rule gives 3B927C8A. With 01 and 02 swapped
it gives F7C26BED, and the payload opens as 016700E1.

## Source
LoRaWAN 1.0.4, p. 46; 1.0.3, p. 36; 1.1, 6.2.3.
";
