//! Cause `indication-never-confirmed`.

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
    id: CauseId::IndicationNeverConfirmed,
    what: "DeviceModeInd or ResetInd is repeated, and no confirmation comes",
    places: &[Place::Session(session::Rung::Answered)],
    kind: Kind::Silence,
    checks: &[Check::Session(check)],
    page: PAGE,
};

/// So many uplinks decide.
const DECIDE: usize = 6;
/// Indications that a node repeats until they are confirmed.
const INDICATIONS: [(&str, &str); 2] =
    [("DeviceModeInd", "DeviceModeConf"), ("ResetInd", "ResetConf")];

fn check(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    if reasons::are_known(case, story) || !reach::both_ways(case, story) {
        return None;
    }
    INDICATIONS.into_iter().find_map(|(request, answer)| {
        let open = asks::in_vain(case, story, Asked::Command(request, answer));
        if open.len() < DECIDE || reasons::is_mute(case, story, &open) {
            return None;
        }
        let downs = asks::downs_in(story, &open);
        let certainty = if downs + 1 >= DECIDE { Certainty::Certain } else { Certainty::Likely };
        let mut finding = Finding::new(
            certainty,
            fact!(
                "{request} in {uplinks}, and no {answer}; {downlinks} came meanwhile",
                request,
                uplinks = Value::Count(open.len() as u64, "uplink"),
                answer,
                downlinks = Value::Count(downs as u64, "downlink")
            ),
            "check whether the server supports this indication: the node repeats it in every uplink",
        );
        for turn in open.iter().take(3) {
            finding.add(fact!(
                "{uplink}: FCnt {fcnt} with {request}",
                uplink = story.cite_turn(*turn),
                fcnt = story.turns().get(*turn).map_or(0, |turn| turn.fcnt),
                request
            ));
        }
        Some(finding)
    })
}

const PAGE: &str = r"# indication-never-confirmed
The node announces its class, or that it was reset, and the server does not
confirm it.

## What is seen
At the node: two bytes more in every uplink; a class C node stays in class A
until it is confirmed. At the server: data arrives.

## Why it happens
DeviceModeInd (class A or C) and ResetInd (ABP) came with 1.1. The node
repeats each until DeviceModeConf or ResetConf. A server without them drops
the command, and every command after it in the same uplink.

## How to be sure
Decrypt FOpts: the indication in six uplinks, and no confirmation in the
downlinks in between. Downlinks make it certain; without them it is likely.

The first uplinks of a session may carry it. A confirmation in a downlink at
a wrong time or rate does not reach the node.

## What to do
1. Let the server confirm the indication.
2. Or switch it off in the node, and set the class on record.

## Example
valve-01: DeviceModeInd 02 (class C) in FCnt 1 to 6. Five downlinks come,
none with DeviceModeConf.

## Source
LoRaWAN 1.1, chapter 18 (DeviceModeInd), 5.1 (ResetInd).
";
