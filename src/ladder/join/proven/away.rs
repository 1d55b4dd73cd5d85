//! Data that cannot be heard: channels and addresses that the gateway leaves out.

use super::sessions::sessions_of;
use crate::{
    fact::{Fact, fact},
    frame::{CfList, CfListType},
    ladder::join::Case,
    region::{ChannelMask, PlanKind},
};

/// Whether the gateways drop the data of the address given by their own setting.
pub(in crate::ladder) fn data_filter(case: &Case<'_>, index: usize) -> Option<Fact> {
    let dev_addr = sessions_of(case, index).next()?.dev_addr;
    let gateways = case.all_drop(|plan| plan.passes_data(dev_addr))?;
    Some(fact!(
        "by its router_config gateway {gateways} drops all data of DevAddr {dev_addr}: it is of none \
         of the networks in NetID",
        gateways,
        dev_addr
    ))
}

/// Whether no data came under any accept of an attempt.
pub(in crate::ladder) fn is_unseen(case: &Case<'_>, index: usize) -> bool {
    sessions_of(case, index).all(|session| session.frames.is_empty())
}

/// The channels that an accept's CFList opens, and those that the gateway receives.
#[derive(Clone, Debug)]
pub(in crate::ladder) struct Apart {
    pub(in crate::ladder) opened: Vec<u16>,
    pub(in crate::ladder) received: Vec<u16>,
    pub(in crate::ladder) list: CfList,
}

/// The channels of an attempt's accept against those of the gateways, where they have none in
/// common.
pub(in crate::ladder) fn channels_apart(case: &Case<'_>, index: usize) -> Option<Apart> {
    let plan = case.plan.filter(|p| p.kind == PlanKind::Fixed)?;
    let attempt = case.node.attempts.get(index)?;
    let opening = attempt.answers.iter().find_map(|a| case.own_opening(a))?;
    let list = opening.opened.accept.cf_list.filter(|l| l.kind() == CfListType::Masks)?;
    let words: Vec<u16> = list.masks().take(plan.mask_words()).collect();
    let opened: Vec<u16> = ChannelMask::from_words(&words).channels().collect();
    let mut received = Vec::new();
    for sighting in attempt.heard.sightings() {
        received.extend(case.gateway_channels(sighting.gateway)?);
    }
    received.sort_unstable();
    received.dedup();
    let apart = !received.is_empty() && !opened.iter().any(|c| received.contains(c));
    apart.then_some(Apart { opened, received, list })
}

/// Whether the accept leads the node away from the gateway, and nothing more of it came.
pub(in crate::ladder) fn led_away(case: &Case<'_>, index: usize) -> bool {
    is_unseen(case, index) && channels_apart(case, index).is_some()
}
