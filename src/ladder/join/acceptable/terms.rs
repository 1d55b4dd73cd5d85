//! What an accept sets: JoinNonce, CFList, DLSettings and RxDelay.

use crate::{
    fact::{Certainty, Fact, Value, fact},
    frame::{CfListType, Direction, JoinAccept, MacVersion},
    ladder::join::Case,
    region::{CfListFit, PlanKind},
    trace::{Origin, Sending},
};

/// What the region or the version forbids in an accept.
pub(in crate::ladder) fn unfit(case: &Case<'_>, accept: &JoinAccept) -> Vec<Fact> {
    let mut out = Vec::new();
    out.extend(cflist_fault(case, accept).map(|(fault, _)| fault));
    out.extend(rx_faults(case, accept));
    out
}

/// A CFList that the node cannot take, and whether that is sure.
pub(in crate::ladder) fn cflist_fault(
    case: &Case<'_>,
    accept: &JoinAccept,
) -> Option<(Fact, Certainty)> {
    let plan = case.plan?;
    let list = accept.cf_list?;
    let cf_list_type: u8 = match list.kind() {
        CfListType::Frequencies => 0,
        CfListType::Masks => 1,
        CfListType::Rfu(cf_list_type) => {
            let fault = fact!("CFList of type {cf_list_type}, which is reserved", cf_list_type);
            return Some((fault, Certainty::Certain));
        }
    };
    if !plan.accepts_cflist_type(cf_list_type) {
        let taken = [0, 1].into_iter().filter(|t| plan.accepts_cflist_type(*t)).map(i64::from);
        let taken: Vec<Value> = taken.map(Value::from).collect();
        let wanted = if taken.is_empty() {
            Fact::from("which takes none")
        } else {
            fact!("which takes type {types}", types = Value::List(taken, " or "))
        };
        let fault = fact!(
            "CFList of type {cf_list_type} in {region}, {wanted}",
            cf_list_type,
            region = plan.name,
            wanted
        );
        return Some((fault, Certainty::Certain));
    }
    // Masks in a dynamic plan came late; an older node drops them.
    let version = case.node_version()?;
    if cf_list_type == 1
        && plan.kind == PlanKind::Dynamic
        && let CfListFit::NotYet { since } = plan.cflist_fit_of_version(cf_list_type, version)
    {
        let fault = fact!(
            "CFList of type 1 in {region}, which a {mac_version} node does not know (since {since})",
            region = plan.name,
            mac_version = version.name(),
            since = since.name()
        );
        return Some((fault, Certainty::Likely));
    }
    None
}

pub(in crate::ladder) fn rx_faults(case: &Case<'_>, accept: &JoinAccept) -> Vec<Fact> {
    let Some(plan) = case.plan else { return Vec::new() };
    let mut out = Vec::new();
    let offset = accept.dl_settings.rx1_dr_offset();
    if offset > plan.rx1_offset_max {
        out.push(fact!(
            "RX1DROffset {rx1_dr_offset}: {region} ends at {most}",
            rx1_dr_offset = offset,
            region = plan.name,
            most = plan.rx1_offset_max
        ));
    }
    let rx2 = accept.dl_settings.rx2_data_rate();
    if plan.dr(Direction::Downlink, rx2).is_none() {
        out.push(fact!(
            "RX2DataRate {rx2_data_rate} is not a downlink data rate of {region}",
            rx2_data_rate = rx2,
            region = plan.name
        ));
    }
    out
}

/// A JoinNonce that is not above the node's last, where it must be.
#[derive(Clone, Copy, Debug)]
pub(in crate::ladder) struct Stale<'a> {
    pub(in crate::ladder) join_nonce: u32,
    pub(in crate::ladder) last: u32,
    pub(in crate::ladder) version: MacVersion,
    /// The accept of the last, where it is in the capture; else the firmware's claim has the last.
    pub(in crate::ladder) taken: Option<&'a Sending>,
}

impl Stale<'_> {
    pub(in crate::ladder) fn fact(&self) -> Fact {
        let last = if let Some(taken) = self.taken {
            fact!("{last} of {accept}", last = self.last, accept = taken)
        } else {
            fact!("{last}", last = self.last)
        };
        fact!(
            "JoinNonce {join_nonce} is not above the node's last, {last} ({mac_version} counts)",
            join_nonce = self.join_nonce,
            last,
            mac_version = self.version.name()
        )
    }
}

/// The JoinNonces that the node took, each with its attempt and its accept, as data shows.
fn taken<'a>(case: &Case<'a>) -> impl Iterator<Item = (usize, u32, &'a Sending)> {
    case.node.sessions.iter().filter_map(|session| {
        let Origin::Accept { attempt, answer } = session.origin else { return None };
        session.uplinks().next()?;
        let answer = case.node.attempts.get(attempt)?.answers.get(answer)?;
        let opening = case.own_opening(answer)?;
        Some((attempt, opening.opened.accept.join_nonce.get(), &answer.sending))
    })
}

/// Whether an accept's JoinNonce is too low: 1.1 demands that it grow for each JoinEUI, 1.0.4 lets
/// the node check it (LoRaWAN 1.1, 6.2.3; 1.0.4, 6.2.5); before, it may be random.
pub(in crate::ladder) fn stale<'a>(
    case: &Case<'a>,
    index: usize,
    accept: &JoinAccept,
) -> Option<Stale<'a>> {
    let version = case.node_version().or(case.record_version())?;
    if !version.counts_dev_nonces() {
        return None;
    }
    let join_nonce = accept.join_nonce.get();
    let join_eui = |at: usize| case.node.attempts.get(at).and_then(|a| a.ask.join_eui());
    let seen = taken(case)
        .filter(|(at, ..)| *at < index && join_eui(*at) == join_eui(index))
        .map(|(_, last, sending)| (last, Some(sending)));
    // A claim made after the capture holds the last of the capture itself.
    let later = |last: &u32| taken(case).any(|(at, nonce, _)| at >= index && nonce == *last);
    let claimed = case.firmware().and_then(|f| f.last_join_nonce).filter(|last| !later(last));
    let claimed = claimed.map(|last| (last, None));
    // Of two alike the one that the capture shows.
    let (last, taken) = claimed.into_iter().chain(seen).max_by_key(|(last, _)| *last)?;
    (join_nonce <= last).then_some(Stale { join_nonce, last, version, taken })
}
