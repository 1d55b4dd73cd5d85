//! Cause `channel-plans-do-not-overlap`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    intake::console::logged_frequencies,
    ladder::{
        finding::Finding,
        join::{self, Case},
    },
    region::{ChannelMask, Plan},
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::ChannelPlansDoNotOverlap,
    what: "the node's channels and the gateway's have none in common",
    places: &[Place::Join(join::Rung::Heard)],
    kind: Kind::Exact,
    checks: &[Check::Join(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    // A console by itself does not show what a gateway hears.
    if !case.node.told.is_empty() && case.trace.gateways.is_empty() {
        return None;
    }
    if !case.node.attempts.is_empty() || case.is_abp() {
        return None;
    }
    let plan = case.plan?;
    let mut theirs = Vec::new();
    let mut theirs_hz = Vec::new();
    for eui in case.trace.gateways.keys().filter(|eui| case.is_described(**eui)) {
        theirs.extend(case.gateway_channels(*eui)?);
        theirs_hz.extend(case.listens(*eui));
    }
    if theirs.is_empty() && theirs_hz.is_empty() {
        return None;
    }
    theirs.sort_unstable();
    theirs.dedup();
    let log = case.firmware().map(|f| logged_frequencies(&f.log)).unwrap_or_default();
    let (own, shown, common) = if let Some(own) = node_channels(case, plan) {
        let common = own.iter().any(|c| theirs.contains(c));
        let shown = !own.is_empty();
        (fact!("channels {node_channels}", node_channels = Value::Channels(own)), shown, common)
    } else {
        let common = log.iter().any(|hz| {
            theirs_hz.contains(hz)
                || plan
                    .nearest_uplink(*hz, None)
                    .is_some_and(|hit| hit.offset_hz.abs() < 1_000 && theirs.contains(&hit.channel))
        });
        let frequencies = Value::list(log.iter().copied().map(Value::Frequency));
        (fact!("{frequencies}", frequencies), !log.is_empty(), common)
    };
    if !shown || common {
        return None;
    }
    let theirs = Value::Channels(theirs);
    let mut finding = Finding::new(
        Certainty::Certain,
        fact!(
            "the node uses {own}, the gateway listens to channels {gateway_channels} of {region}: \
             none in common",
            own = own.clone(),
            gateway_channels = theirs.clone(),
            region = plan.name
        ),
        "set node and gateway to the same sub-band: give the node the channel mask of the \
         gateway's sub-band, or the gateway the node's",
    );
    finding.add(fact!("node: {own}", own));
    finding.add(fact!("gateway: channels {gateway_channels}", gateway_channels = theirs));
    for (eui, gateway) in &case.trace.gateways {
        if let (Some(eui), false) = (eui, gateway.stats.is_empty()) {
            finding.add(fact!(
                "gateway {gateway}'s own counters: {received} received",
                gateway = *eui,
                received = Value::Count(gateway.counted_rx, "frame")
            ));
        }
    }
    Some(finding)
}

/// The channels that the node uses, as its firmware claims them.
fn node_channels(case: &Case<'_>, plan: &Plan) -> Option<Vec<u16>> {
    let firmware = case.firmware()?;
    if let Some(words) = &firmware.channel_mask {
        return Some(ChannelMask::from_words(words).channels().collect());
    }
    firmware.sub_band.map(|sub_band| plan.sub_band_channels(sub_band))
}

const PAGE: &str = r"# channel-plans-do-not-overlap
The channels that the node uses and the channels that the gateway listens to
have none in common.

## What is seen
At the node: every join attempt ends without an answer. At the gateway: it
is up, its statistics arrive, and its receive counters stay at zero or count
only other nodes. At the server: nothing.

## Why it happens
In a fixed channel plan (US915, AU915, CN470) the node may use 64 or 96
channels and a usual gateway listens to 8 of 125 kHz and one of 500 kHz.
Each side is set to a sub-band by hand. If the node is limited to one
sub-band and the gateway to another, they never meet. In a dynamic plan it
happens when a gateway lacks the join channels.

## How to be sure
Write both sets down and intersect them. Mask words count from the lowest
channel: bit 0 of the first word is channel 0, and sub-band = channel div 8
+ 1 for channels 0 to 63; channel 64 + b belongs to sub-band b + 1. If the
intersection is empty, the cause is certain as far as both lists are true. A
mask in the firmware's source is not always the mask in force.

Not to be taken for it: a node that hops over all 72 channels. It meets such
a gateway with one Join-Request in eight
(node-hops-outside-the-gateway-sub-band). Range, interference or an absent
node are no explanation while the two sets are disjoint.

## What to do
1. Choose one sub-band for the site; take the one that the network uses.
2. Set the node's mask to it, the 500 kHz channel included: sub-band 2 is
   FF00 0000 0000 0000 0002.
3. Set the gateway's receive channels to the same sub-band.
4. Change one side only, then look for the first Join-Request.

Stay inside the channels and power that your region's rules allow.

## Example
US915. The probe's mask is 00FF 0000 0000 0000 0001: channels 0 to 7 (902.3
to 903.7 MHz) and 64 (903.0 MHz). The orchard's gateway listens to channels
8 to 15 (903.9 to 905.3 MHz) and 65 (904.6 MHz). The intersection is empty.
With the mask FF00 0000 0000 0000 0002 the next attempt is heard.

## Source
RP002-1.0.1, 2.5 (US915), 2.8 (AU915), 2.9 (CN470); that gateways listen to
one sub-band is common practice.
";
