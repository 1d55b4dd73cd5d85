//! Cause `downlinks-signed-with-another-key`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Cite, Value, fact},
    ladder::{
        finding::Finding,
        session::{self, Case, Story, signed},
    },
    trace::{Data, Sending, settings::Turn},
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::DownlinksSignedWithAnotherKey,
    what: "uplinks verify, and no downlink does",
    places: &[Place::Session(session::Rung::Received)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

/// So many downlinks decide.
const DECIDE: usize = 2;

fn check(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let verified = story.session.frames.iter().any(|seen| matches!(seen.data, Data::Down { .. }));
    if verified || story.turns().is_empty() || !signed::wrong_conf(case, story).is_empty() {
        return None;
    }
    let turns = 0..story.turns().len();
    let all: Vec<(usize, &Sending)> = turns
        .flat_map(|turn| {
            signed::unverified(case, story, turn).map(move |(_, sending)| (turn, sending))
        })
        .filter(|(_, sending)| sending.refusal().is_none())
        .collect();
    // A damaged line is one; a stranger with this address does not answer this node's uplinks.
    let answers = |(turn, sending): &&(usize, &Sending)| {
        let place = story.turns().get(*turn).map(Turn::first);
        let heard = place.and_then(|place| story.heard(place));
        heard.is_some_and(|heard| {
            let mut slots = heard.sightings().filter_map(|sighting| sending.slot_after(sighting));
            slots.any(|us| us <= 16_000_000 && us % 1_000_000 < 1_000)
        })
    };
    let own: Vec<_> = all.iter().filter(answers).collect();
    if own.len() < DECIDE {
        return None;
    }
    let mut finding = Finding::new(
        Certainty::Certain,
        fact!(
            "{uplinks} verify under the session's keys, and of {downlinks} to this node none does: the \
             server signs with another key",
            uplinks = Value::Count(story.turns().len() as u64, "uplink"),
            downlinks = Value::Count(own.len() as u64, "downlink")
        ),
        "compare the network session keys on the server with those derived from the accept; let the node \
         join again",
    );
    for (turn, sending) in own.iter().take(4) {
        finding.add(fact!(
            "{downlink}: in answer to {uplink}; its MIC fails under every key of this session",
            downlink = Cite::from(*sending).with_time(),
            uplink = story.cite_turn(*turn)
        ));
    }
    Some(finding.matched_by_chance(1.0, story.turns().len()))
}

const PAGE: &str = r"# downlinks-signed-with-another-key
The node's uplinks verify under the session's keys, and the server's
downlinks verify under none of them.

## What is seen
At the server: uplinks accepted, downlinks sent. At the gateway: taken and
sent. At the node: every downlink dropped for its MIC; confirmed frames
repeated, RekeyInd repeated.

## Why it happens
In 1.1 uplinks are checked with FNwkSIntKey, and downlinks are signed with
SNwkSIntKey: one of them can be wrong in the server while the other is
right. In 1.0.x the downlinks come from a part of the server that holds
another session, or another node's keys.

## How to be sure
Uplinks hold. Each downlink carries this DevAddr, lies in a window of this
node, and its MIC fails under the session's keys, with every upper half of
the counter, and in 1.1 with every ConfFCnt that may be meant. Two decide.

Try ConfFCnt first: confirmed-counter-wrong-in-the-mic fails only in frames
with ACK. Keys of the session before are downlink-to-an-old-session.

## What to do
1. Compare SNwkSIntKey (1.1) or NwkSKey (1.0.x) on the server with the one
   derived from the accept.
2. Let the node join again, and compare once more.

## Example
LoRaWAN 1.1. Four confirmed uplinks hold. Four downlinks to 0283A6FF, one
second after each: no key on hand fits. RekeyInd goes on.

## Source
LoRaWAN 1.1, 4.4, 6.1.1.
";
