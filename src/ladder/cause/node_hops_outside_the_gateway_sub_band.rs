//! Cause `node-hops-outside-the-gateway-sub-band`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Fact, Value, fact},
    frame::CfListType,
    ladder::{
        finding::Finding,
        join::{
            Case, Rung,
            on_plan::{Foreign, received_share},
        },
    },
    region::{ChannelMask, JoinFit, Plan, PlanKind},
    trace::Session,
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::NodeHopsOutsideTheGatewaySubBand,
    what: "the node uses channels of other sub-bands than the gateway's",
    places: &[Place::Join(Rung::OnPlan)],
    kind: Kind::Exact,
    checks: &[
        Check::Join(check),
        Check::Join(crate::ladder::join::told::console::outside_the_sub_band),
    ],
    page: PAGE,
};

/// Sessions of fewer frames show no share.
const LEAST_SENT: u32 = 8;

fn check(case: &Case<'_>) -> Option<Finding> {
    let plan = case.plan.filter(|p| p.kind == PlanKind::Fixed)?;
    let theirs = receivers(case);
    // A gateway of one channel has no sub-band.
    if theirs.len() < 2 || Foreign::of(case).is_some() {
        return None;
    }
    requests_outside(case, plan, &theirs).or_else(|| data_outside(case, plan, &theirs))
}

/// A request on a channel that the gateway is not set to.
fn requests_outside(case: &Case<'_>, plan: &Plan, theirs: &[u16]) -> Option<Finding> {
    let (channel, attempt) = case.broken_at(Rung::OnPlan).find_map(|(_, attempt)| {
        let best = attempt.heard.best();
        match plan.join_fit(best.freq_hz?, best.modulation?) {
            JoinFit::Fits { channel } | JoinFit::Inexact { channel, .. } => {
                (!theirs.contains(&channel)).then_some((channel, attempt))
            }
            _ => None,
        }
    })?;
    let finding = Finding::new(
        Certainty::Likely,
        fact!(
            "the node asks in channel {channel} (sub-band {sub_band}); the gateway is set to \
             channels {gateway_channels}",
            channel,
            sub_band = plan.sub_band(channel).unwrap_or_default(),
            gateway_channels = Value::Channels(theirs.to_vec())
        ),
        "limit the node to the gateway's sub-band, or set the gateway to the node's",
    );
    Some(finding.and(fact!("{request}: channel {channel}", request = attempt, channel)))
}

/// A session of which as many frames come as the channels in common explain.
fn data_outside(case: &Case<'_>, plan: &Plan, theirs: &[u16]) -> Option<Finding> {
    for session in case.node.sessions.iter().rev() {
        let Some((received, sent)) = received_share(session) else { continue };
        let Enabled { channels: own, opened, stated } = enabled(case, session, plan);
        let common = own.iter().filter(|c| theirs.contains(c)).count();
        let lost = sent >= LEAST_SENT && received * 2 < sent;
        if !lost || common == 0 || common * 2 >= own.len() {
            continue;
        }
        // What came must be what the channels in common explain, neither far more nor far less:
        // else the counter jumped, or frames are lost for another reason.
        let (heard, expected) = (received as usize * own.len(), sent as usize * common);
        if heard * 4 < expected || heard > expected * 2 {
            continue;
        }
        let theirs = Value::Channels(theirs.to_vec());
        let mut finding = Finding::new(
            if stated { Certainty::Certain } else { Certainty::Likely },
            fact!(
                "the node hops over {enabled}, the gateway hears {common} of them: {received} of \
                 {sent} came",
                enabled = Value::count(own.len(), "channel"),
                common,
                received,
                sent = Value::Count(sent.into(), "frame")
            ),
            fact!(
                "limit the node to the gateway's channels ({gateway_channels}): by its own mask, or \
                 by a CFList of type 1 or LinkADRReq from the server",
                gateway_channels = theirs.clone()
            ),
        );
        finding.add(fact!(
            "expected share {common} of {enabled}, observed {received} of {sent} by the frame \
             counter",
            common,
            enabled = own.len(),
            received,
            sent
        ));
        finding.add(opened);
        finding.add(fact!("the gateway receives channels {channels}", channels = theirs));
        if let Some((_, heard)) = session.uplinks().last()
            && let (Some(rssi), Some(margin)) = (heard.best().rssi, heard.best().margin())
        {
            finding.add(fact!(
                "what comes is strong: {rssi}, {margin} above the floor",
                rssi = Value::dbm(rssi),
                margin = Value::db(margin);
                at: heard.first()
            ));
        }
        return Some(finding);
    }
    None
}

/// The channels that the gateways of the capture receive, as far as roster or capture say.
fn receivers(case: &Case<'_>) -> Vec<u16> {
    let gateways = case.trace.gateways.keys();
    let mut out: Vec<u16> =
        gateways.filter_map(|eui| case.gateway_channels(*eui)).flatten().collect();
    out.sort_unstable();
    out.dedup();
    out
}

/// The channels that a node may use in a session of a fixed plan.
struct Enabled {
    channels: Vec<u16>,
    /// What opened them.
    opened: Fact,
    /// Whether a CFList or a claim states them.
    stated: bool,
}

/// The accept's masks, or else the mask built into the node, or else all of the plan.
fn enabled(case: &Case<'_>, session: &Session, plan: &Plan) -> Enabled {
    let masks = case
        .accept_of(session)
        .and_then(|accept| accept.cf_list)
        .filter(|list| list.kind() == CfListType::Masks);
    if let Some(list) = masks {
        let words: Vec<u16> = list.masks().take(plan.mask_words()).collect();
        let channels: Vec<u16> = ChannelMask::from_words(&words).channels().collect();
        let told = Value::Channels(channels.clone());
        let opened = fact!("the accept's CFList opens channels {channels}", channels = told);
        return Enabled { channels, opened, stated: true };
    }
    if let Some(words) = case.firmware().and_then(|f| f.channel_mask.as_ref()) {
        let channels: Vec<u16> = ChannelMask::from_words(words).channels().collect();
        let opened = fact!(
            "the accept has no CFList, and the node's own mask opens channels {channels}",
            channels = Value::Channels(channels.clone())
        );
        return Enabled { channels, opened, stated: true };
    }
    let channels = plan.channels();
    let opened = fact!(
        "the accept has no CFList: the plan opens channels {channels}",
        channels = Value::Channels(channels.clone())
    );
    Enabled { channels, opened, stated: false }
}

const PAGE: &str = r"# node-hops-outside-the-gateway-sub-band
The node uses channels of all sub-bands while the gateway listens to one, so
most of what it sends is lost.

## What is seen
At the node: it joins after many attempts, then reports and seems content.
At the gateway: all that is heard is strong and lies in eight channels. At
the server: FCnt jumps; about one data frame in eight arrives. In the
capture: no CFList in the accept, or one that the node cannot use.

## Why it happens
After a reset a US915 or AU915 node has all 72 channels enabled. A usual
gateway hears 8 of the 64 narrow ones and one of the eight wide ones. The
cure is a mask: by CFList type 1 in the Join-Accept, or by LinkADRReq. A
node of regional parameters 1.0.2 or older ignores the CFList, and some
servers send none.

## How to be sure
Take all FCnt values of one session: the share heard is (number of different
FCnt) / (last - first + 1). Compare it with |common| / |enabled|: 8/64 =
12.5 % for 125 kHz rates. For Join-Requests, a pass over the eight groups
and one wide channel meets the gateway once in nine tries on a narrow
channel and once in 72 on the wide one: 9 in 72, one in eight. Hearing one
join in eight is by design and no fault by itself, if a mask follows.

Coverage would show weak frames, too. Interference does not choose the
channels 8 to 15. A duty-cycle limit does not make FCnt jump: what is not
sent is not counted.

## What to do
1. Let the server send CFList type 1 with the gateway's mask, or LinkADRReq
   with the first downlink (ChMaskCntl 7, then 0, in one frame).
2. Or limit the node to the sub-band in its firmware: for sub-band 2 the
   words FF00 0000 0000 0000 0002.
3. Check that an accepted mask is kept after a reset.

Few channels may be ruled differently from many: check the local rules on
dwell time and power.

## Example
US915, gateway on sub-band 2. Probe-07 sends FCnt 0 to 47, 48 frames; heard
are 6, all between 903.9 and 905.3 MHz at -80 dBm. 6/48 = 12.5 %. The accept
was 17 bytes long: no CFList. After a LinkADRReq with the mask above all
frames arrive.

## Source
RP002-1.0.1, 2.5.2 (join channels), 2.5.4 (CFList), Table 15 (ChMaskCntl);
gateways on one sub-band are common practice.
";
