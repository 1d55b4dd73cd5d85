//! Cause `accept-answers-another-attempt`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        join::{
            self, Case,
            acceptable::{
                MOST_TOLD,
                closed::{Elsewhere, MadeFor, for_another_attempt},
            },
            proven::derived::{Crossed, crossed},
        },
    },
    trace::Attempt,
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::AcceptAnswersAnotherAttempt,
    what: "the accept is made for another request's DevNonce",
    places: &[Place::Join(join::Rung::Timely), Place::Join(join::Rung::Acceptable)],
    kind: Kind::Exact,
    checks: &[Check::Join(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let found = for_another_attempt(case);
    let Some(first) = found.first() else { return crossed(case).map(|own| taken_late(&own)) };
    match *first {
        Elsewhere { attempt, made_for: MadeFor::Heard(other), .. } => {
            Some(heard(case, &found, attempt, other))
        }
        Elsewhere { attempt, made_for: MadeFor::Unheard(nonce), .. } => {
            Some(unheard(&found, attempt, nonce))
        }
    }
}

fn heard(case: &Case<'_>, found: &[Elsewhere<'_>], attempt: &Attempt, other: &Attempt) -> Finding {
    let mut finding = Finding::new(
        Certainty::Certain,
        fact!(
            "the accept handed out for DevNonce {dev_nonce} is made for DevNonce {made_for}: the \
             server answers {which} request",
            dev_nonce = attempt.nonce(),
            made_for = other.nonce(),
            which = if other.line() < attempt.line() { "an earlier" } else { "another" }
        ),
        "find out why the server is late (its queue, its join server's answer), and set it to drop an \
         answer whose windows are past",
    );
    for Elsewhere { attempt, answer, made_for } in found.iter().take(MOST_TOLD) {
        let MadeFor::Heard(other) = made_for else { continue };
        finding.add(fact!(
            "{accept}: its slot is a window of {request} (DevNonce {dev_nonce}), its MIC holds with the \
             DevNonce of {other}, {made_for}",
            accept = &answer.sending,
            request = attempt.heard.first(),
            dev_nonce = attempt.nonce(),
            other = other.heard.first(),
            made_for = other.nonce()
        ));
    }
    let tried = u32::try_from(case.node.attempts.len()).unwrap_or(u32::MAX);
    finding.matched_by_chance(f64::from(tried), found.len())
}

/// The node took it as the answer to a request that it sent since.
fn taken_late(crossed: &Crossed<'_>) -> Finding {
    let &Crossed { attempt, answer, later, held, odds } = crossed;
    let mut finding = Finding::new(
        Certainty::of_probability(odds),
        fact!(
            "the node took the accept for DevNonce {made_for} as the answer to its later request, DevNonce \
             {dev_nonce}: both sides derive other session keys",
            made_for = attempt.nonce(),
            dev_nonce = later.nonce()
        ),
        "find out why the accept reaches the node late (the gateway's queue, its way to the server, the \
         server); by the 1.0 rule a node cannot tell which request an accept is for",
    )
    .and(fact!("{request}: the request that is answered", request = attempt.heard.first()))
    .and(fact!("{accept}: its accept", accept = &answer.sending))
    .and(fact!("{request}: the node's last request before its data", request = later.heard.first()))
    .and(fact!(
        "{uplinks} hold under keys derived from that accept and that later DevNonce",
        uplinks = Value::count(held, "uplink")
    ));
    if let Some(ack) = &answer.sending.ack
        && let (Some(acked), Some(handed)) = (ack.at, answer.sending.at)
    {
        finding.add(fact!(
            "{accept}: the gateway speaks of it {delay} after it was passed",
            accept = ack.line,
            delay = Value::About(acked.as_microsecond() - handed.as_microsecond())
        ));
    }
    finding.false_match = Some(odds);
    finding
}

/// The request is not in the capture: each DevNonce was tried.
fn unheard(found: &[Elsewhere<'_>], attempt: &Attempt, nonce: u16) -> Finding {
    let certainty = if found.len() > 1 { Certainty::Certain } else { Certainty::Likely };
    let mut finding = Finding::new(
        certainty,
        fact!(
            "the accept handed out for DevNonce {dev_nonce} is made for DevNonce {made_for}, of a \
             request that the capture does not have: the server answers another attempt",
            dev_nonce = attempt.nonce(),
            made_for = nonce
        ),
        "capture at every gateway that hears the node; if the other request was earlier, find out \
         why the server is late, and set it to drop an answer whose windows are past",
    );
    for Elsewhere { answer, made_for, .. } in found {
        let MadeFor::Unheard(nonce) = *made_for else { continue };
        finding.add(fact!(
            "{accept}: its MIC holds with DevNonce {made_for}",
            accept = &answer.sending,
            made_for = nonce
        ));
    }
    finding.matched_by_chance(65_536.0, found.len())
}

const PAGE: &str = r"# accept-answers-another-attempt
The accept's MIC holds only with the DevNonce of an earlier request than the
last one before it.

## What is seen
At the server: accept sent. At the gateway: sent, in a window of the newest
request. At the node (LoRaWAN 1.1): a frame arrives, its MIC fails, the node
asks again.

## Why it happens
In 1.1 the accept's MIC covers JoinReqType, JoinEUI and DevNonce. The server
worked so long on attempt n that attempt n + 1 had been sent; the answer to
n was then put into the window of n + 1. Or the server reused a stored
answer, or sorted two requests wrongly.

## How to be sure
Open the accept under the NwkKey; the fields are sound and OptNeg is 1.
Compute the MIC under JSIntKey with the DevNonce of each request seen from
this node. If it fails with the latest and holds with an earlier one, it is
certain: false-match probability are 1 in 4 294 967 296 for each nonce tried.

By the 1.0 rule the MIC does not cover DevNonce. There the node takes such
an accept and derives keys with its own latest DevNonce, the server with the
older: the join seems good, and no data frame authenticates. That shows as
session-keys-derived-by-another-rule, with the older nonce as the variation.

If no nonce fits, it is accept-for-another-key or the wrong MIC rule. After
a rejoin RJcount is in DevNonce's place; try it, too.

## What to do
1. Let the server drop an answer when a newer request of the node has come.
2. Find out why it took longer than the node's pause between attempts.
3. Let the node wait longer: at least until both windows are over, plus a
   random time.

## Example
JoinEUI ...-00-01, DevEUI ...-21-07, invented NwkKey A0A1...AF. Requests:
DevNonce 5, then 6. The accept (JoinNonce 42, DevAddr 020C2107,
DLSettings 80, RxDelay 1) ends with MIC 04A31116. With DevNonce 6 it should
be FAF7F7A9; with 5 it is 04A31116.

## Source
LoRaWAN 1.1, 6.2.3; for the 1.0 rule: LoRaWAN 1.0.4, p. 46.
";
