//! Cause `join-nonce-went-back`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::ladder::join;

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::JoinNonceWentBack,
    what: "JoinNonce is not above the node's last",
    places: &[Place::Join(join::Rung::Acceptable)],
    kind: Kind::Exact,
    checks: &[Check::Join(join::acceptable::terms::join_nonce)],
    page: PAGE,
};

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
