//! Cause `session-keys-swapped`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, fact},
    ladder::{
        finding::Finding,
        session::{self, Case, Story, keys},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::SessionKeysSwapped,
    what: "two session keys are entered in each other's place",
    places: &[Place::Session(session::Rung::Authentic)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

fn check(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let wrong = keys::network_key(case, story)?;
    let keys::How::Swapped(other) = wrong.how else { return None };
    let finding = Finding::new(
        Certainty::Certain,
        wrong.words(),
        "swap the two fields: the network session key signs, the AppSKey encrypts",
    )
    .and(fact!(
        "the MICs of {frames} uplinks hold under the key that the {claim} calls {other}, and fail under \
         the one that it calls {key}",
        frames = wrong.frames,
        claim = wrong.claim.name(),
        other,
        key = wrong.key
    ));
    Some(finding.matched_by_chance(wrong.tried, wrong.frames))
}

const PAGE: &str = r"# session-keys-swapped
NwkSKey and AppSKey, or two of the 1.1 keys, are entered in each other's
place.

## What is seen
At the server: every uplink refused for its MIC. At the node: it sends as
always, no downlink. The record looks complete.

## Why it happens
Two fields with 32 digits each, one above the other, and a list whose
columns are in another order.

## How to be sure
The MIC fails under the key that is called NwkSKey and holds under the one
that is called AppSKey. One frame is certain to 2^-32.

In 1.1 keys can be equal by design of the test: then nothing is swapped.

## What to do
1. Swap the two fields on the side named.
2. Check payloads afterwards: they must read.

## Example
Record: nwk-s-key 0E1A..., app-s-key 162C.... The uplinks of 026321FF hold
under 162C....

## Source
LoRaWAN 1.0.4, p. 24-25.
";
