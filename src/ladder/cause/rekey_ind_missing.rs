//! Cause `rekey-ind-missing`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    frame::MacVersion,
    ladder::{
        finding::Finding,
        session::{self, Case, Story, answered::asks},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::RekeyIndMissing,
    what: "a 1.1 node sends data in its new session without RekeyInd",
    places: &[Place::Session(session::Rung::Answered)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

/// So many uplinks decide.
const DECIDE: usize = 2;

fn check(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let accept = case.accept_of(story.session)?;
    if story.version() != Some(MacVersion::V1_1) || !accept.dl_settings.opt_neg() {
        return None;
    }
    // A capture that begins later, or a session that is confirmed, shows nothing.
    if story.turns().first()?.fcnt != 0 {
        return None;
    }
    let confirmed =
        |place: &usize| story.settings.said.get(*place).is_some_and(|said| said.says("RekeyConf"));
    let first: Vec<usize> = (0..story.turns().len())
        .take_while(|turn| {
            let turn = story.turns().get(*turn);
            turn.is_some_and(|turn| turn.missed == 0 && !turn.fell)
        })
        .take(64)
        .collect();
    let said = |turn: &usize| asks::says(story, *turn, "RekeyInd");
    let conf = story.turns().iter().flat_map(|turn| &turn.downs).any(confirmed);
    if first.len() < DECIDE || first.iter().any(said) || conf {
        return None;
    }
    let mut finding = Finding::new(
        if first.len() > DECIDE { Certainty::Certain } else { Certainty::Likely },
        fact!(
            "the accept has OptNeg 1, and the first {uplinks} verify under the 1.1 keys without \
             RekeyInd: a server drops them until the node says that it uses the new session",
            uplinks = Value::Count(first.len() as u64, "uplink")
        ),
        "let the node send RekeyInd in every uplink after a join, until RekeyConf comes",
    );
    for turn in first.iter().take(3) {
        finding.add(fact!(
            "{uplink}: FCnt {fcnt}, no RekeyInd in it",
            uplink = story.cite_turn(*turn),
            fcnt = story.turns().get(*turn).map_or(0, |turn| turn.fcnt)
        ));
    }
    Some(finding)
}

const PAGE: &str = r"# rekey-ind-missing
A 1.1 node uses its new session and does not say so.

## What is seen
At the server: the join is there, and no data; the new session waits for
RekeyInd. At the gateway: uplinks under the new DevAddr. At the node: sends,
and gets no downlink.

## Why it happens
In 1.1 a server keeps the old session until the first RekeyInd under the new
keys, and drops other uplinks of the new one. A node stack with 1.1 keys and
the command set of 1.0.x never sends it.

## How to be sure
The accept has OptNeg 1. Uplinks from FCnt 0 on verify under the 1.1 keys,
and no RekeyInd is in their decrypted FOpts. Three decide.

With OptNeg 0 the node falls back to 1.0.x, and there is no RekeyInd. If the
capture begins later, or RekeyConf was seen, nothing is missing.

## What to do
1. Use a node stack that implements 1.1 as a whole, or join as 1.0.4.
2. Look for the switch that sends RekeyInd after a join.

## Example
OptNeg 1, probe-18: FCnt 0 to 4 on FPort 2, FOpts empty. No downlink.

## Source
LoRaWAN 1.1, 5.10, 6.2.4.
";
