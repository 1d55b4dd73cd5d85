//! Cause `session-key-typed-wrong`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, fact},
    ladder::{
        finding::Finding,
        session::{self, Case, Story, keys},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::SessionKeyTypedWrong,
    what: "a session key on record is a typing error away from the node's",
    places: &[Place::Session(session::Rung::Authentic), Place::Session(session::Rung::Readable)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

fn check(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let typed = |wrong: &keys::Wrong| matches!(wrong.how, keys::How::Typed(_));
    let network = keys::network_key(case, story).filter(typed);
    let wrong = network.or_else(|| keys::app_key(case, story).filter(typed))?;
    // What the MIC proves is certain; an AppSKey is, against the firmware's.
    let is_app = wrong.key == "AppSKey";
    let finding = Finding::new(
        if is_app && wrong.right.is_none() { Certainty::Likely } else { Certainty::Certain },
        wrong.words(),
        "enter the key that the frames agree with on the other side",
    );
    let finding = match wrong.right {
        Some(right) if is_app => finding.and(fact!(
            "both agree on the network key; the {claim} has another AppSKey, and payloads are encrypted \
             with it",
            claim = right.name()
        )),
        Some(right) => finding.and(fact!(
            "{frames} uplinks verify under the {claim}'s {key}",
            frames = wrong.frames,
            claim = right.name(),
            key = wrong.key
        )),
        None => finding.and(fact!(
            "the MICs of {frames} uplinks hold under the key so corrected, and under none that is stated",
            frames = wrong.frames
        )),
    };
    Some(if is_app { finding } else { finding.matched_by_chance(wrong.tried, wrong.frames) })
}

const PAGE: &str = r"# session-key-typed-wrong
A session key on record and the one in the node differ in a digit or two.

## What is seen
Network key: the server refuses every uplink for its MIC. AppSKey: uplinks
are accepted, and the application gets noise. At the node: it sends as
always.

## Why it happens
Keys of ABP nodes, or of a session that was moved by hand, are typed or
copied in parts: a digit wrong, two swapped, one twice.

## How to be sure
Network keys: the MIC fails under the key on record and holds under the
firmware's, or under one that a typing error makes of it. With several
frames the false-match probability is far below one in a million. In 1.1 the
two halves of the MIC show which key is wrong: bytes 1 and 2 SNwkSIntKey,
bytes 3 and 4 FNwkSIntKey.

The AppSKey is in no MIC: it shows against the firmware's key, or where the
payload reads as text.

In 1.1 a wrong ConfFCnt fails in frames with ACK only.

## What to do
1. Enter the key that the frames agree with.
2. Compare the other keys of that list, too.

## Example
Record: NwkSKey ...F2... where the node has ...F4...: digit 10. Five MICs
hold under the firmware's key, none under the record's.

## Source
LoRaWAN 1.0.4, p. 24-25; 1.1, 4.4.
";
