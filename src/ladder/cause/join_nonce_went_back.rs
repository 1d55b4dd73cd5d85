//! Cause `join-nonce-went-back`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Fact, fact},
    frame::MacVersion,
    ladder::{
        finding::Finding,
        join::{
            self, Case,
            acceptable::{
                MOST_TOLD, opened_and_refused,
                terms::{Stale, stale},
            },
        },
    },
    trace::{Answer, Attempt},
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::JoinNonceWentBack,
    what: "JoinNonce is not above the node's last",
    places: &[Place::Join(join::Rung::Acceptable)],
    kind: Kind::Exact,
    checks: &[Check::Join(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let place = |attempt: &Attempt| {
        case.node.attempts.iter().position(|other| other.line() == attempt.line())
    };
    let went_back: Vec<(&Answer, Stale<'_>)> = opened_and_refused(case)
        .into_iter()
        .filter_map(|(attempt, answer, opening)| {
            Some((answer, stale(case, place(attempt)?, &opening.opened.accept)?))
        })
        .collect();
    let &(_, Stale { join_nonce, last, version, taken }) = went_back.first()?;
    // 1.0.4 leaves the check of the order to the node; 1.1 demands it.
    let certainty = if version == MacVersion::V1_1 || join_nonce == last {
        Certainty::Certain
    } else {
        Certainty::Likely
    };
    let whose = match taken {
        Some(accept) => fact!("the last that the node took ({accept})", accept),
        None => Fact::from("the last that the node keeps"),
    };
    let mut finding = Finding::new(
        certainty,
        fact!(
            "JoinNonce {join_nonce} is not above {last}, {whose}: the node drops the accept",
            join_nonce,
            last,
            whose
        ),
        fact!(
            "set the server's next JoinNonce above {last}, or clear the node's stored value",
            last
        ),
    );
    for (answer, stale) in went_back.iter().take(MOST_TOLD) {
        finding.add(fact!(
            "{accept}: JoinNonce {join_nonce}",
            accept = &answer.sending,
            join_nonce = stale.join_nonce
        ));
    }
    if let Some(next) = case.record().and_then(|r| r.next_join_nonce) {
        finding.add(fact!(
            "the record's next-join-nonce is {next_join_nonce}",
            next_join_nonce = next
        ));
    }
    Some(finding)
}

const PAGE: &str = r#"# join-nonce-went-back
The accept's JoinNonce is not above the last one that the node has taken, so
the node ignores a good accept.

## What is seen
At the server: accept sent. At the gateway: sent in time. At the node (1.1):
a frame arrives, authenticates, and is dropped. It began with a restored,
moved or newly made record.

## Why it happens
In 1.1 JoinNonce is a counter of the join server for each node, and the node
takes only a value above the one it has stored. A server restored from a
backup, a record deleted and made again, or a second join server starts
lower. In 1.0.4 the value must not repeat; checking the order is an option
there.

## How to be sure
The accept opens and its MIC holds. Compare its JoinNonce with the node's
last one: from a log, a claim, or the highest accept in the capture after
which the node sent data. Not above, and version 1.1: broken. For 1.0.4 say
"likely" unless the node is known to check; many only refuse a value equal
to the last. In 1.0.0 to 1.0.3 the value may be random and a lower one is no
fault.

The same JoinNonce twice can be one accept repeated through another gateway.
If the node's last value is not known, this cannot be judged: note the value
and ask the node. "Accept lost" fits one attempt, not a row of them at a
sound margin.

## What to do
1. Raise the server's JoinNonce for this node above the node's value; it has
   24 bits, leave room.
2. Or clear the node's stored JoinNonce, if it can be reached, knowing that
   this takes away its protection against old accepts.
3. Keep the counters in every backup and move.

## Example
The probe's log: last JoinNonce 41. The server was restored on Sunday; its
accepts carry 39, 40 and 41. Each opens and authenticates, each is dropped.
The fourth would carry 42 and be taken.

## Source
LoRaWAN 1.1, 6.2.3; 1.0.4, p. 45-46.
"#;
