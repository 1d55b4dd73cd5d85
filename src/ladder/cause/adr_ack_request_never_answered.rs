//! Cause `adr-ack-request-never-answered`.

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
    id: CauseId::AdrAckRequestNeverAnswered,
    what: "ADRACKReq stays on, and no downlink comes",
    places: &[Place::Session(session::Rung::Answered)],
    kind: Kind::Silence,
    checks: &[Check::Session(check)],
    page: PAGE,
};

fn check(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    if reasons::are_known(case, story) || !reach::both_ways(case, story) {
        return None;
    }
    let open = asks::in_vain(case, story, Asked::Downlink);
    let (first, last) = (*open.first()?, *open.last()?);
    let (from, to) = (story.turns().get(first)?, story.turns().get(last)?);
    // Frames that are missing count for the node as well.
    let asked = to.fcnt.saturating_sub(from.fcnt) + 1;
    let delay = story.at(last).adr_delay.value().copied().unwrap_or(32);
    if asked <= delay || asks::downs_in(story, &open) > 0 {
        return None;
    }
    let rate = |turn: usize| {
        let place = story.turns().get(turn)?.first();
        story.heard(place)?.best().modulation
    };
    let mut finding = Finding::new(
        Certainty::Likely,
        fact!(
            "ADRACKReq in {uplinks}, and no downlink: the node lowers its data rate step by step",
            uplinks = Value::Count(open.len() as u64, "uplink")
        ),
        "send any downlink, an empty one will do, within ADR_ACK_DELAY uplinks after ADRACKReq",
    )
    .and(fact!(
        "{uplink}: FCnt {fcnt}, ADRACKReq for the first time",
        uplink = story.cite_turn(first),
        fcnt = from.fcnt
    ))
    .and(fact!(
        "{uplink}: FCnt {fcnt}, still on; ADR_ACK_DELAY is {delay}",
        uplink = story.cite_turn(last),
        fcnt = to.fcnt,
        delay
    ));
    if let (Some(before), Some(after)) = (rate(first), rate(last))
        && before != after
    {
        finding.add(fact!(
            "the data rate went from {before} to {data_rate} meanwhile",
            before,
            data_rate = after
        ));
    }
    Some(finding)
}

const PAGE: &str = r"# adr-ack-request-never-answered
The node asks whether anyone hears it, and the server does not answer.

## What is seen
At the server: data arrives; no downlink is queued. At the node: the data
rate falls from step to step, airtime and consumption rise.

## Why it happens
With ADR on, a node that got no downlink for ADR_ACK_LIMIT uplinks (64) sets
ADRACKReq. Any downlink stops it. A server without ADR, or that answers
ADRACKReq only when it has something to say, lets the node believe that it
is out of range.

## How to be sure
ADRACKReq (bit 6 of FCtrl) in every uplink for more than ADR_ACK_DELAY (32)
uplinks, frames lost on the air counted by FCnt, and no downlink to this
node in between. The data rate falls by one for each 32 uplinks.

Both directions must be in the capture. ADRParamSetupReq changes the
numbers. A downlink that was sent at a wrong time or rate is a fault of
windows; the node cannot hear it.

## What to do
1. Let the server answer ADRACKReq within 32 uplinks.
2. Or switch ADR off in the node, and choose a data rate with margin.

## Example
probe-15 at SF7BW125. ADRACKReq from the 65th uplink on. At the 97th it
sends at SF8BW125, 32 uplinks later at SF9BW125, at last at SF12BW125. No
PULL_RESP since the accept.

## Source
LoRaWAN 1.0.4, p. 16-17; RP002-1.0.4, p. 27 (64 and 32).
";
