//! Cause `confirmed-uplink-never-acknowledged`.

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
    id: CauseId::ConfirmedUplinkNeverAcknowledged,
    what: "confirmed uplinks are repeated, and no downlink answers any of them",
    places: &[Place::Session(session::Rung::Answered)],
    kind: Kind::Silence,
    checks: &[Check::Session(check)],
    page: PAGE,
};

/// So many confirmed uplinks decide.
const DECIDE: usize = 3;

fn check(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    if reasons::are_known(case, story)
        || !reach::both_ways(case, story)
        || !reach::is_open(case, story)
    {
        return None;
    }
    let open = asks::in_vain(case, story, Asked::Ack);
    // Downlinks without ACK, or in no window, are another matter.
    if open.len() < DECIDE || asks::downs_in(story, &open) > 0 {
        return None;
    }
    let copies = |turn: &usize| story.turns().get(*turn).map_or(0, |turn| turn.sent.len());
    let repeated = open.iter().filter(|turn| copies(turn) > 1).count();
    let certainty = if repeated >= DECIDE { Certainty::Certain } else { Certainty::Likely };
    let mut finding = Finding::new(
        certainty,
        fact!(
            "{uplinks} without any downlink, {repeated} of them repeated; the gateway reports them, asks \
             for downlinks, and gets none",
            uplinks = Value::Count(open.len() as u64, "confirmed uplink"),
            repeated
        ),
        "look up the node in the server's log: is it known there, and are MIC and counter accepted?",
    );
    for turn in open.iter().take(4) {
        finding.add(fact!(
            "{uplink}: confirmed, FCnt {fcnt}, sent {times}; no downlink",
            uplink = story.cite_turn(*turn),
            fcnt = story.turns().get(*turn).map_or(0, |turn| turn.fcnt),
            times = Value::Count(copies(turn) as u64, "time")
        ));
    }
    Some(finding)
}

const PAGE: &str = r"# confirmed-uplink-never-acknowledged
The node asks for acknowledgements, and the server sends nothing at all.

## What is seen
At the node: confirmed frames repeated until it gives up, more airtime. At
the gateway: the frames are reported and acknowledged to the gateway
(PUSH_ACK), PULL_DATA is answered, and no PULL_RESP comes. At the server:
often nothing, since it drops what it does not know.

## Why it happens
The device was removed or suspended on the server; its session there is
another one, so MIC or counter fail; the server is set to another region and
finds no window; or its downlink queue is stuck.

## How to be sure
Both directions must be in the capture, and the gateway's downlink path
open (no-downlink-path-to-the-gateway). Three confirmed uplinks, each
repeated, and not one downlink to this node: certain.

Downlinks without the ACK bit are confirmed-uplink-answered-without-ack.
Downlinks at a wrong time or rate are faults of windows. The last uplink of
a capture says nothing.

## What to do
1. Read the server's log for this DevEUI at the times below.
2. Compare DevAddr, keys and counter there with those of the frames.
3. Send one downlink by hand and look whether a PULL_RESP comes.

## Example
US915. After RekeyConf probe-12 sends four confirmed frames, three times
each. PULL_ACK comes every ten seconds, PULL_RESP never. The server's log:
device suspended.

## Source
LoRaWAN 1.0.4, p. 15 (confirmed frames), p. 20 (ACK).
";
