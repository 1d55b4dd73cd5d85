//! Cause `rekey-ind-never-answered`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        session::{
            self, Case, Story,
            answered::{
                asks::{self, Asked},
                reasons,
            },
            reach,
        },
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::RekeyIndNeverAnswered,
    what: "a 1.1 node repeats RekeyInd, and no RekeyConf comes",
    places: &[Place::Session(session::Rung::Answered)],
    kind: Kind::Silence,
    checks: &[Check::Session(check)],
    page: PAGE,
};

/// So many uplinks decide where nothing else comes down.
const ALONE: usize = 8;
/// And so many where downlinks come in between.
const BETWEEN: usize = 6;

fn check(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    if reasons::are_known(case, story) || !reach::both_ways(case, story) {
        return None;
    }
    let open = asks::in_vain(case, story, Asked::Command("RekeyInd", "RekeyConf"));
    let downs = asks::downs_in(story, &open);
    let enough = open.len() >= ALONE || open.len() >= BETWEEN && downs >= BETWEEN - 1;
    if !enough || reasons::is_mute(case, story, &open) {
        return None;
    }
    let mut finding = Finding::new(
        Certainty::Certain,
        fact!(
            "RekeyInd in {uplinks}, and no RekeyConf; {downlinks} came meanwhile",
            uplinks = Value::Count(open.len() as u64, "uplink"),
            downlinks = Value::Count(downs as u64, "downlink")
        ),
        "send RekeyConf in the first downlink after a RekeyInd: the session is not confirmed without it",
    );
    for turn in open.iter().take(3) {
        finding.add(fact!(
            "{uplink}: FCnt {fcnt} with RekeyInd",
            uplink = story.cite_turn(*turn),
            fcnt = story.turns().get(*turn).map_or(0, |turn| turn.fcnt)
        ));
    }
    Some(finding)
}

const PAGE: &str = r"# rekey-ind-never-answered
A 1.1 node announces its new session in every uplink, and the server does
not confirm it.

## What is seen
At the node: joined; RekeyInd in every uplink; after ADR_ACK_LIMIT uplinks
it joins again. At the server: data may arrive.

## Why it happens
In 1.1 the node says with RekeyInd that it uses the new keys, and the server
answers RekeyConf. A server that treats 1.1 devices as 1.0.x devices with
other keys does not know the command.

## How to be sure
Decrypt FOpts with NwkSEncKey: RekeyInd (0B 01) in eight uplinks, or in six
with downlinks in between, and no RekeyConf in any downlink whose MIC holds.

RekeyConf in a downlink at a wrong time or rate does not reach the node: the
fault is that of the windows. Downlinks signed with another key are
downlinks-signed-with-another-key. The first uplinks of a session may well
carry it.

## What to do
1. Let the server send RekeyConf (0B 01) after the first RekeyInd.
2. Check that the server treats the device as LoRaWAN 1.1.

## Example
probe-17: RekeyInd in FCnt 0 to 7. ACKs come for the confirmed ones, without
FOpts.

## Source
LoRaWAN 1.1, 5.10.
";
