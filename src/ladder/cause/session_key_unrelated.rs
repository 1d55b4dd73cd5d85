//! Cause `session-key-unrelated`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, fact},
    ladder::{
        finding::Finding,
        session::{self, Case, Story, keys},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::SessionKeyUnrelated,
    what: "the session key on record has nothing in common with the node's",
    places: &[Place::Session(session::Rung::Authentic)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

/// So many uplinks, of which none holds, speak for it.
const DECIDE: usize = 3;

fn check(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let wrong = keys::network_key(case, story)?;
    if !matches!(wrong.how, keys::How::Unrelated) || wrong.frames < DECIDE {
        return None;
    }
    // A stranger may have the address as well: only the firmware's key tells.
    let certainty = if wrong.right.is_some() { Certainty::Certain } else { Certainty::Likely };
    let finding = Finding::new(
        certainty,
        wrong.words(),
        "enter the session's keys again on both sides, or let the node join over the air",
    );
    let finding = match wrong.right {
        Some(right) => finding
            .and(fact!(
                "{frames} uplinks verify under the {claim}'s keys",
                frames = wrong.frames,
                claim = right.name()
            ))
            .matched_by_chance(1.0, wrong.frames),
        None => finding.and(fact!(
            "{frames} uplinks of DevAddr {dev_addr}, and no key near the one stated makes their MICs",
            frames = wrong.frames,
            dev_addr = story.session.dev_addr
        )),
    };
    Some(finding)
}

const PAGE: &str = r"# session-key-unrelated
The node signs with a session key that has nothing in common with the one on
record.

## What is seen
At the server: every uplink refused for its MIC. At the gateway: heard. At
the node: it sends as always, no downlink.

## Why it happens
The keys of another node were entered, the node was given new keys, the
export of a session is older than its last join, or the address is used by
somebody else's node, too.

## How to be sure
Uplinks of this DevAddr. With the firmware's keys they verify: certain.
Without them: the MIC fails under the key on record and under everything
that a typing error makes of it, in three frames and more: likely.

A stranger with the same DevAddr looks the same: look at the counter, the
signal and the times. A join outside the capture makes new keys.

## What to do
1. Read the keys out of the node, and enter them again.
2. Better: let the node join over the air.

## Example
Four uplinks of 02E11BB8. The record's NwkSKey fits none, nor does any key
of two wrong digits around it.

## Source
LoRaWAN 1.0.4, p. 25 (MIC), p. 43 (ABP).
";
