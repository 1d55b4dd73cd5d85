//! Cause `uplinks-lost-at-a-thin-margin`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        session::{self, Case, Story, adr, losses},
    },
    region::PlanKind,
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::UplinksLostAtAThinMargin,
    what: "many uplinks are lost, and those that arrive are near the demodulation floor",
    places: &[Place::Session(session::Rung::Heard)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

/// Counters over which losses are counted at the least.
const FEWEST: u32 = 20;
/// A margin below this is thin, dB.
const THIN_DB: f32 = 3.0;

fn check(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let last = story.turns().len().checked_sub(1)?;
    let losses = losses::between(story, 0, last);
    let margin = losses::median(&losses::margins(story, 0, last))?;
    let many = losses.sent >= FEWEST && losses.missing() * 3 > losses.sent;
    // What is missing in one step is a hole in the capture, or a jump of the counter.
    let spread = losses.widest * 2 <= losses.missing();
    if !many || !spread || margin >= THIN_DB || !story.settings.holes.is_empty() {
        return None;
    }
    // A LinkADRReq that took the margin away explains it; so do channels that nobody hears.
    if adr::step(story).is_some() || on_few_channels(case, story) {
        return None;
    }
    let best = story.heard(story.turns().first()?.first())?.best();
    Some(
        Finding::new(
            Certainty::Likely,
            fact!(
                "{missing} of {sent} uplinks are lost, and half of the others arrive less than {margin} \
                 above the demodulation floor",
                missing = losses.missing(),
                sent = losses.sent,
                margin = Value::Db(margin.max(0.0).into())
            ),
            "check antenna and place of the node, use a lower data rate or NbTrans, or put up a nearer \
             gateway",
        )
        .and(fact!(
            "{came} of {sent} arrived by FCnt, {widest} at most are missing in a row: losses all along",
            came = losses.came,
            sent = losses.sent,
            widest = losses.widest
        ))
        .and(fact!(
            "{uplink}: {data_rate}, {rssi}, SNR {snr}",
            uplink = story.cite_turn(0),
            data_rate = best.modulation.map_or(Value::Text("".into()), Value::Rate),
            rssi = best.rssi.map_or(Value::Text("".into()), |rssi| Value::Dbm(rssi.into())),
            snr = best.snr.map_or(Value::Text("".into()), |snr| Value::Db(snr.into()))
        )),
    )
}

/// Whether the node has channels that no gateway receives: then losses follow the channels.
fn on_few_channels(case: &Case<'_>, story: &Story<'_>) -> bool {
    let Some(plan) = story.plan else { return false };
    let Some(mask) = story.settings.last().mask.sure() else { return false };
    let mut heard = Vec::new();
    for eui in case.trace.gateways.keys() {
        match case.gateway_channels(*eui) {
            Some(channels) => heard.extend(channels),
            None => return false,
        }
    }
    plan.kind == PlanKind::Fixed && mask.channels().any(|channel| !heard.contains(&channel))
}

const PAGE: &str = r"# uplinks-lost-at-a-thin-margin
The node is at the edge of what the gateway can hear.

## What is seen
At the server: gaps in FCnt all along, data that is missing. At the gateway:
the frames that arrive have an SNR just above the floor of their data rate.
At the node: it sends as always.

## Why it happens
Distance, an antenna that is damaged, turned or under metal, a gateway that
was moved, leaves in summer, or a new source of noise. With 1 dB of margin
the fading of the channel takes every second frame.

## How to be sure
Count by FCnt, copies folded: more than a third is missing over 20 frames
and more, never many in a row. Margin = SNR - floor of the data rate (SF7
-7.5 dB, SF12 -20 dB); half of the frames have less than 3 dB.

A hole in the capture shows as one gap, often in both counters. Losses that
follow the channel are node-hops-outside-the-gateway-sub-band or
one-channel-gateway. Losses that begin with a LinkADRReq are
adr-leads-out-of-range.

## What to do
1. Check the antenna and its place.
2. Use a lower data rate, or NbTrans 2 or 3.
3. Put up a gateway that is nearer.

## Example
probe-28 at SF12BW125: SNR -19.4 dB, floor -20 dB. Of 60 counters 20 arrive.
No MAC command in the capture.

## Source
Demodulation floors: data sheets of LoRa receivers; FCnt: LoRaWAN 1.0.4,
p. 19. The limits (a third, 3 dB) are common practice.
";
