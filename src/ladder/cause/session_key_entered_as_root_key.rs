//! Cause `session-key-entered-as-root-key`.

use super::{Cause, CauseId, Check, Kind, Place, hits};
use crate::{
    fact::fact,
    ladder::{
        finding::Finding,
        join::{self, Case},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::SessionKeyEnteredAsRootKey,
    what: "a session key is where the root key belongs",
    places: &[Place::Join(join::Rung::Authentic)],
    kind: Kind::Exact,
    checks: &[Check::Join(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let hit = hits::key_hit(case, CauseId::SessionKeyEnteredAsRootKey)?;
    Some(if hit.instead.is_some() {
        hit.finding(
            "a session key of the node is on record where the root key belongs",
            "enter the root key on record; session keys are for ABP",
        )
    } else {
        hit.finding(
            fact!(
                "the MIC holds under {key}, a session key, where the root key belongs",
                key = hit.label.clone()
            ),
            "enter the root key (AppKey, or NwkKey in 1.1) where the session key is; session keys \
             are for ABP",
        )
    })
}

const PAGE: &str = r"# session-key-entered-as-root-key
A session key of the node is where the root key belongs.

## What is seen
At the server: wrong MIC, or a record that takes no join. At the node:
attempts without answer, often after it had worked by personalisation (ABP)
or after a session was copied from another server.

## Why it happens
Session keys and root keys are all 16 bytes and look alike. Someone copied
the NwkSKey or AppSKey out of a session view into the field AppKey, or
firmware was moved from ABP to OTAA and kept its old constants. A session
key changes with every join, so it can never serve as root.

## How to be sure
If the session keys are known (claims of ABP, an exported session, or a join
in the capture), try each as the MIC key of the Join-Request. A hit means that
the node signs with it: false-match probability n in 4 294 967 296 for n keys
and one frame. If the record's root key equals a session key of the same node,
byte for byte, the record is the wrong side, and no frame is needed.

This is not a stale root key: a stale root was once right. It is not the
wrong slot of 1.1, where the value is a root key under another name. When no
session keys are known, the cause cannot be found and root-key-unrelated is
all there is to say.

## What to do
1. Take the root key from the label or the maker's list and enter it in the
   right field.
2. If there is none, make a new AppKey (1.1: NwkKey and AppKey) for both
   sides.
3. Remove session keys from the firmware of an OTAA node.
4. A session key that was shown or sent around is known: join again.

## Example
The record of probe-06 has an AppKey that fails. The probe's earlier ABP
claim says NwkSKey 06060606 ... 06 (invented). The MIC of the Join-Request
holds under exactly that value: the firmware was changed to OTAA, and its
key array was renamed, not refilled.

## Source
LoRaWAN 1.0.4, 6.1 and p. 46 (session keys are derived at each join); 1.1,
6.2.3.
";
