//! Cause `key-of-another-node`.

use super::{Cause, CauseId, Check, Kind, Place, hits};
use crate::{
    fact::fact,
    ladder::{
        finding::Finding,
        join::{self, Case, why::Instead},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::KeyOfAnotherNode,
    what: "the MIC holds under the key of another node",
    places: &[Place::Join(join::Rung::Authentic)],
    kind: Kind::Exact,
    checks: &[Check::Join(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let hit = hits::key_hit(case, CauseId::KeyOfAnotherNode)?;
    let key = hit.label.clone();
    let summary = if let Some(Instead::KeyOf(other_node)) = &hit.instead {
        fact!(
            "the MIC holds under {key}; a key of {other_node} is where one of this node's belongs",
            key,
            other_node = other_node.clone()
        )
    } else {
        fact!("the MIC holds under the key of another node ({key})", key)
    };
    Some(hit.finding(
        summary,
        "give each node its own key: two labels or two lines of a list were swapped",
    ))
}

const PAGE: &str = r"# key-of-another-node
The node's Join-Request authenticates under the key of another node on the
roster.

## What is seen
At the server: wrong MIC for this DevEUI. At the node: attempts without
answer. Often a second node fails at the same time, with the first one's
key.

## Why it happens
Labels, files or boxes were swapped at personalisation; a list was sorted
in one column only; the same image was flashed twice and only the EUI was
changed.

## How to be sure
Compute the MIC under the key of every node on the roster. With n keys the
probability of an accidental hit on one frame is n in 4 294 967 296: for 200
nodes 4.7e-8, and two frames square it. Then look at the other node's frames:
if they hold under this node's key, the two are swapped; if they hold under
their own, one key was used twice.

Not to be taken for it: a DevEUI typed wrong, which also makes a frame fit
another record. There the heard DevEUI is on no record, or is a near miss;
here it is a registered one and only the key is foreign. If a batch shares
one key on purpose, the MIC cannot tell its nodes apart and this cause
cannot be named.

## What to do
1. Decide by the labels which node has which key.
2. Swap the keys on the server (simple), or personalise the nodes again
   (right, if the labels are to stay true).
3. If one key serves two nodes, give one of them a new one.
4. Check the rest of the list: a shifted column hits every line below.

## Example
Roster: probe-01 to probe-20. The request of probe-13 holds under the key of
probe-14, that of probe-14 under the key of probe-15, and so on. Row 13 of
the list was deleted in the key column only.

## Source
LoRaWAN 1.0.4, p. 45; 1.0.3, p. 36; the probability is computed.
";
