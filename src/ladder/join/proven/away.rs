//! Data that cannot be heard: channels and addresses that the gateway leaves out.

use crate::{
    fact::Certainty,
    frame::CfListType,
    ladder::{
        finding::Finding,
        join::{Case, Rung, on_plan, proven::sessions_of},
        words::{channels, count, mhz},
    },
    region::{ChannelMask, PlanKind},
};

pub(in crate::ladder) fn filtered(case: &Case<'_>) -> Option<Finding> {
    let unseen = |i: &usize| sessions_of(case, *i).all(|session| session.frames.is_empty());
    let index = (0..case.node.attempts.len()).rev().filter(unseen).find(|i| {
        case.ladders.get(*i).is_some_and(|l| l.first_broken().is_none_or(|r| r == Rung::Proven))
    })?;
    let words = data_filter(case, index)?;
    let mut finding = Finding::new(
        Certainty::Certain,
        words,
        "add the network to NetID of the router_config that the server gives the gateway, or have the \
         server give addresses of a network that is there",
    );
    if let Some(session) = sessions_of(case, index).next() {
        let first = session.dev_addr.0 >> 25;
        finding.add(format!("DevAddr {}: the seven first bits are {first}", session.dev_addr));
    }
    for plan in case.trace.gateways.values().filter_map(|gateway| gateway.plan.as_deref()) {
        for id in plan.net_ids.iter().flatten().take(4) {
            finding.add(format!("passed on: NetID {id:06X}, the seven first bits {}", id & 0x3F));
        }
    }
    Some(finding)
}

/// Whether the gateways drop the data of the address given by their own setting.
pub(in crate::ladder) fn data_filter(case: &Case<'_>, index: usize) -> Option<String> {
    let dev_addr = sessions_of(case, index).next()?.dev_addr;
    let gateways = case.all_drop(|plan| plan.passes_data(dev_addr))?;
    Some(format!(
        "by its router_config gateway {gateways} drops all data of DevAddr {dev_addr}: it is of none \
         of the networks in NetID"
    ))
}

/// The channels that an accept's CFList opens and those that the gateway receives, where they
/// have none in common.
fn cflist_against_gateway(case: &Case<'_>, index: usize) -> Option<(Vec<u16>, Vec<u16>, [u8; 16])> {
    let plan = case.plan.filter(|p| p.kind == PlanKind::Fixed)?;
    let attempt = case.node.attempts.get(index)?;
    let opening = attempt.answers.iter().find_map(|a| case.own_opening(a))?;
    let list = opening.opened.accept.cf_list.filter(|l| l.kind() == CfListType::Masks)?;
    let words: Vec<u16> = list.masks().take(plan.mask_words()).collect();
    let opened: Vec<u16> = ChannelMask::from_words(&words).channels().collect();
    let mut theirs = Vec::new();
    for sighting in attempt.heard.sightings() {
        theirs.extend(case.gateway_channels(sighting.gateway)?);
    }
    theirs.sort_unstable();
    theirs.dedup();
    let apart = !theirs.is_empty() && !opened.iter().any(|c| theirs.contains(c));
    apart.then_some((opened, theirs, list.0))
}

pub(in crate::ladder) fn led_away(case: &Case<'_>, index: usize) -> bool {
    sessions_of(case, index).all(|s| s.frames.is_empty())
        && cflist_against_gateway(case, index).is_some()
}

pub(in crate::ladder) fn cflist_wrong_channels(case: &Case<'_>) -> Option<Finding> {
    let Some(index) = (0..case.node.attempts.len()).find(|i| led_away(case, *i)) else {
        return frequencies_unheard(case);
    };
    let (opened, theirs, octets) = cflist_against_gateway(case, index)?;
    let plan = case.plan?;
    let want = ChannelMask::from_channels(theirs.iter().copied()).padded(plan.mask_words());
    let words: Vec<String> = want.words().iter().map(|w| format!("{w:04X}")).collect();
    let swapped: Vec<u8> = {
        let mut s: Vec<u8> = octets.to_vec();
        s.chunks_exact_mut(2).take(7).for_each(<[u8]>::reverse);
        s
    };
    let mut finding = Finding::new(
        Certainty::Certain,
        format!(
            "the accept's CFList opens {}; the gateway hears {} alone, and nothing arrives after \
             the join",
            told(&opened),
            channels(&theirs)
        ),
        format!(
            "send the masks {} (each travels least significant byte first), or no CFList",
            words.join(" ")
        ),
    );
    finding.add(format!("CFList {}", hex::encode(octets)));
    let turned: Vec<u16> = swapped
        .chunks_exact(2)
        .take(plan.mask_words())
        .filter_map(|c| Some(u16::from_le_bytes(c.try_into().ok()?)))
        .collect();
    let turned: Vec<u16> = ChannelMask::from_words(&turned).channels().collect();
    if !turned.is_empty() && turned.iter().all(|c| theirs.contains(c)) {
        finding.add(format!(
            "with the bytes of each mask exchanged it would open channels {}: a byte order slip",
            channels(&turned)
        ));
    }
    let silent = case.node.attempts.len();
    finding.add(format!("{} joined, no data of any of the addresses given", count(silent, "time")));
    Some(finding)
}

/// A CFList of frequencies that the gateway does not receive, and the frames lost on them.
fn frequencies_unheard(case: &Case<'_>) -> Option<Finding> {
    for session in &case.node.sessions {
        let Some(list) = case.accept_of(session).and_then(|a| a.cf_list) else { continue };
        if list.kind() != CfListType::Frequencies {
            continue;
        }
        let Some((_, heard)) = session.uplinks().next() else { continue };
        let listens = case.listens(heard.first().gateway);
        let opened: Vec<u32> = list.frequencies().filter(|hz| *hz > 0).collect();
        let unheard: Vec<u32> = opened.iter().filter(|hz| !listens.contains(hz)).copied().collect();
        let Some((received, sent)) = on_plan::received_share(session) else { continue };
        // One listened channel has a cause of its own.
        if listens.len() < 2 || unheard.is_empty() || sent < 8 || received * 4 > sent * 3 {
            continue;
        }
        let list: Vec<String> = unheard.iter().map(|hz| mhz(*hz)).collect();
        let mut finding = Finding::new(
            Certainty::Likely,
            format!(
                "the accept's CFList opens {}, which the gateway does not receive: {received} of {sent} \
                 frames came",
                list.join(", ")
            ),
            "send the frequencies that the gateway receives, or set the gateway to those of the list",
        );
        finding.add(format!(
            "{} of the list's {} frequencies are unheard",
            unheard.len(),
            opened.len()
        ));
        return Some(finding);
    }
    None
}

fn told(opened: &[u16]) -> String {
    if opened.is_empty() { "no channel".into() } else { format!("channels {}", channels(opened)) }
}
