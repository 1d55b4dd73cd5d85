//! Cause `uplink-on-a-channel-not-given`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        session::{self, Case, Story, on_plan::frames},
    },
    region::PlanKind,
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::UplinkOnAChannelNotGiven,
    what: "uplinks are on a frequency that is not one of the node's channels",
    places: &[Place::Session(session::Rung::OnPlan)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

/// So many uplinks decide.
const DECIDE: usize = 3;

fn check(_: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    // What is on no channel of a fixed plan is nobody's to give.
    let plan = story.plan.filter(|plan| plan.kind == PlanKind::Dynamic)?;
    let own: Vec<_> = frames::all(story, plan)
        .into_iter()
        .filter(|sent| {
            sent.has_channel == Some(false) && sent.dr.is_some() && plan.in_band(sent.hz)
        })
        .collect();
    let first = own.first()?;
    if own.len() < 2 {
        return None;
    }
    let certainty = if own.len() >= DECIDE { Certainty::Certain } else { Certainty::Likely };
    let defined: Vec<Value> = story
        .at(first.turn)
        .channels
        .values()
        .filter_map(|held| held.value())
        .filter(|channel| channel.hz > 0)
        .map(|channel| Value::Frequency(channel.hz))
        .collect();
    let mut finding = Finding::new(
        certainty,
        fact!(
            "{uplinks} on {frequency}, which neither the plan nor the server gave the node",
            uplinks = Value::Count(own.len() as u64, "uplink"),
            frequency = Value::Frequency(first.hz)
        ),
        "find out who set this channel in the node; let it join again",
    );
    if !defined.is_empty() {
        finding
            .add(fact!("the node's channels: {frequencies}", frequencies = Value::list(defined)));
    }
    for sent in own.iter().take(4) {
        finding.add(fact!(
            "{uplink}: {frequency}, {data_rate}",
            uplink = story.cite(sent.place),
            frequency = Value::Frequency(sent.hz),
            data_rate = sent.rate
        ));
    }
    Some(finding)
}

const PAGE: &str = r"# uplink-on-a-channel-not-given
The node sends on a frequency that nobody gave it.

## What is seen
At the server: uplinks refused for their channel, or taken and answered in a
wrong RX1. At the gateway: heard, if it listens there. At the node: nothing
odd.

## Why it happens
Channels that were set by hand in the firmware, channels of another network
kept over a join, a CFList read from the wrong byte, or a region file of
another country.

## How to be sure
The node's channels are: those of the plan, those of the accept's CFList,
and those of NewChannelReq that it answered with 03. Three uplinks on
another frequency decide. All requests since the join must be in the
capture.

A frequency less than 1 kHz off is the channel: gateways report synthesiser
steps. If only the answer to a NewChannelReq is lost, the channel is given.

## What to do
1. Look for channels in the firmware's configuration.
2. Let the node join again, and compare its channels with the accept.

## Example
EU868, accept without CFList: 868.1, 868.3 and 868.5 MHz. probe-31 sends
every fourth frame on 867.1 MHz.

## Source
RP002-1.0.4, default channels and CFList; LoRaWAN 1.0.4, p. 35.
";
