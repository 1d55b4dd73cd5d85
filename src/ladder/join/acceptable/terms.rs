//! What an accept sets: JoinNonce, CFList, DLSettings and RxDelay.

use crate::{
    fact::Certainty,
    frame::{CfListType, JoinAccept, MacVersion},
    ladder::{
        finding::Finding,
        join::{
            Case,
            acceptable::{bad, node_opening},
        },
        words,
    },
    region::CfListFit,
};

/// What the region or the version forbids in an accept.
pub(in crate::ladder) fn unlawful(case: &Case<'_>, accept: &JoinAccept) -> Vec<String> {
    let mut out = Vec::new();
    out.extend(cflist_fault(case, accept).map(|f| f.0));
    out.extend(rx_faults(case, accept));
    out
}

/// A CFList that the node cannot take, and whether that is sure.
pub(in crate::ladder) fn cflist_fault(
    case: &Case<'_>,
    accept: &JoinAccept,
) -> Option<(String, Certainty)> {
    let plan = case.plan?;
    let list = accept.cf_list?;
    let t = match list.kind() {
        CfListType::Frequencies => 0,
        CfListType::Masks => 1,
        CfListType::Rfu(t) => {
            return Some((format!("CFListType {t} is reserved"), Certainty::Certain));
        }
    };
    if !plan.accepts_cflist_type(t) {
        let wanted: Vec<String> =
            [0, 1].iter().filter(|t| plan.accepts_cflist_type(**t)).map(u8::to_string).collect();
        let wanted = if wanted.is_empty() {
            "which takes none".into()
        } else {
            format!("which takes type {}", wanted.join(" or "))
        };
        return Some((
            format!("CFList of type {t} in {}, {wanted}", plan.name),
            Certainty::Certain,
        ));
    }
    // Masks in a dynamic plan came late; an older node drops them.
    let version = case.node_version()?;
    if t == 1
        && plan.kind == crate::region::PlanKind::Dynamic
        && let CfListFit::NotYet { since } = plan.cflist_fit_of_version(t, version)
    {
        return Some((
            format!(
                "CFList of type 1 in {}, which a {} node does not know (since {})",
                plan.name,
                version.name(),
                since.name()
            ),
            Certainty::Likely,
        ));
    }
    None
}

pub(in crate::ladder) fn rx_faults(case: &Case<'_>, accept: &JoinAccept) -> Vec<String> {
    let Some(plan) = case.plan else { return Vec::new() };
    let mut out = Vec::new();
    let offset = accept.dl_settings.rx1_dr_offset();
    if offset > plan.rx1_offset_max {
        out.push(format!("RX1DROffset {offset}: {} ends at {}", plan.name, plan.rx1_offset_max));
    }
    let rx2 = accept.dl_settings.rx2_data_rate();
    if plan.dr(crate::frame::Direction::Downlink, rx2).is_none() {
        out.push(format!("RX2DataRate {rx2} is no downlink data rate of {}", plan.name));
    }
    out
}

/// JoinNonce is not above the node's last, where it must be.
pub(in crate::ladder) fn stale_join_nonce(case: &Case<'_>, accept: &JoinAccept) -> Option<String> {
    let version = case.node_version().or(case.record_version())?;
    if !version.counts_dev_nonces() {
        return None;
    }
    let last = case.firmware()?.last_join_nonce?;
    (accept.join_nonce.get() <= last).then(|| {
        format!(
            "JoinNonce {} is not above the node's last, {last} ({} counts)",
            accept.join_nonce.get(),
            version.name()
        )
    })
}

pub(in crate::ladder) fn join_nonce(case: &Case<'_>) -> Option<Finding> {
    let stale: Vec<_> = bad(case)
        .into_iter()
        .filter_map(|(attempt, answer)| {
            let opening = node_opening(case, attempt, answer)?;
            Some((answer, opening.opened.accept.join_nonce.get()))
                .filter(|_| stale_join_nonce(case, &opening.opened.accept).is_some())
        })
        .collect();
    let (_, nonce) = *stale.first()?;
    let version = case.node_version().or(case.record_version())?;
    let last = case.firmware()?.last_join_nonce?;
    // 1.0.4 leaves the check of the order to the node; 1.1 demands it.
    let certainty = if version == MacVersion::V1_1 || nonce == last {
        Certainty::Certain
    } else {
        Certainty::Likely
    };
    let mut finding = Finding::new(
        certainty,
        format!(
            "JoinNonce {nonce} is not above {last}, the last that the node keeps: the node drops \
             the accept"
        ),
        format!("set the server's next JoinNonce above {last}, or clear the node's stored value"),
    );
    for (answer, nonce) in stale.iter().take(4) {
        finding.add(format!("{}: JoinNonce {nonce}", answer.sending.line));
    }
    if let Some(next) = case.record().and_then(|r| r.next_join_nonce) {
        finding.add(format!("the record's next-join-nonce is {next}"));
    }
    Some(finding)
}

pub(in crate::ladder) fn cflist_type(case: &Case<'_>) -> Option<Finding> {
    let wrong: Vec<_> = bad(case)
        .into_iter()
        .filter_map(|(attempt, answer)| {
            let opening = node_opening(case, attempt, answer)?;
            let fault = cflist_fault(case, &opening.opened.accept)?;
            Some((answer, opening, fault))
        })
        .collect();
    let (_, opening, (words, certainty)) = wrong.first()?;
    let plan = case.plan?;
    let mut finding = Finding::new(
        *certainty,
        format!(
            "the accept opens and authenticates, but carries a {words}; nodes may drop it whole"
        ),
        format!(
            "send no CFList, or one that {} allows: set the server's region and revision to the \
             node's",
            plan.name
        ),
    );
    if let Some(list) = opening.opened.accept.cf_list {
        let content = match list.kind() {
            CfListType::Frequencies => {
                let mhz: Vec<String> =
                    list.frequencies().filter(|hz| *hz > 0).map(words::mhz).collect();
                mhz.join(", ")
            }
            _ => hex::encode(list.0),
        };
        finding.add(format!("the list: {content}"));
    }
    for (answer, ..) in wrong.iter().take(4) {
        finding.add(format!("{}: {words}", answer.sending.line));
    }
    Some(finding)
}

pub(in crate::ladder) fn rx_parameters(case: &Case<'_>) -> Option<Finding> {
    let wrong: Vec<_> = bad(case)
        .into_iter()
        .filter_map(|(attempt, answer)| {
            let opening = node_opening(case, attempt, answer)?;
            let faults = rx_faults(case, &opening.opened.accept);
            (!faults.is_empty()).then_some((answer, faults))
        })
        .collect();
    let (_, faults) = wrong.first()?;
    let plan = case.plan?;
    let mut finding = Finding::new(
        Certainty::Certain,
        format!(
            "the accept's receive parameters are not lawful in {}: {}",
            plan.name,
            faults.join("; ")
        ),
        format!("correct the server's RX parameters for {}", plan.name),
    );
    for (answer, faults) in wrong.iter().take(4) {
        finding.add(format!("{}: {}", answer.sending.line, faults.join("; ")));
    }
    Some(finding)
}
