//! Cause `node-request-never-answered`.

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
    id: CauseId::NodeRequestNeverAnswered,
    what: "LinkCheckReq, DeviceTimeReq or PingSlotInfoReq is never answered",
    places: &[Place::Session(session::Rung::Answered)],
    kind: Kind::Silence,
    checks: &[Check::Session(check)],
    page: PAGE,
};

/// So many uplinks that ask decide; one or two answers may be lost.
const DECIDE: usize = 6;
/// Requests of the node to which the server owes an answer in every version that has them.
const OWED: [(&str, &str); 3] = [
    ("LinkCheckReq", "LinkCheckAns"),
    ("DeviceTimeReq", "DeviceTimeAns"),
    ("PingSlotInfoReq", "PingSlotInfoAns"),
];

fn check(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    if reasons::are_known(case, story)
        || !reach::both_ways(case, story)
        || !reach::is_open(case, story)
    {
        return None;
    }
    OWED.into_iter().find_map(|(request, answer)| {
        let open = asks::in_vain(case, story, Asked::Command(request, answer));
        if open.len() < DECIDE || reasons::is_mute(case, story, &open) {
            return None;
        }
        let downs = asks::downs_in(story, &open);
        // Downlinks that flow, and never with the answer, leave no doubt.
        let certainty = if downs >= DECIDE { Certainty::Certain } else { Certainty::Likely };
        let mut finding = Finding::new(
            certainty,
            fact!(
                "{request} in {uplinks}, and no {answer}; {downlinks} came meanwhile",
                request,
                uplinks = Value::Count(open.len() as u64, "uplink"),
                answer,
                downlinks = Value::Count(downs as u64, "downlink")
            ),
            "check whether the server supports this command, and whether it sends downlinks to this node",
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

const PAGE: &str = r"# node-request-never-answered
The node asks for the link margin, the time or its ping slots, and the
server never answers.

## What is seen
At the node: it asks in every uplink; its clock is not set, class B does not
begin, or it takes the link for dead. At the server: data arrives.

## Why it happens
The server does not implement the command, or has switched it off. Or it
puts no downlink together where there is no application data. DeviceTimeReq
came with 1.0.3: a server set to 1.0.2 drops it, and all commands after it.

## How to be sure
The command in six uplinks, both directions in the capture, the downlink
path open. Downlinks that flow without the answer make it certain; without
any downlink it is likely.

One or two lost answers are nothing. Downlinks at a wrong time or rate carry
the answer, too: then the fault is that of the windows.

## What to do
1. Check the server's support for the command, and the node's version there.
2. Let the node ask once a day, not in every uplink.

## Example
probe-16: LinkCheckReq in eight uplinks, FCnt 0 to 7. PULL_ACK flows; no
PULL_RESP since the join.

## Source
LoRaWAN 1.0.4, p. 30 (LinkCheckReq), p. 37 (DeviceTimeReq), class B.
";
