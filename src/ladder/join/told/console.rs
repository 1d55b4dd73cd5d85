//! What a node's console says of itself, where no request of it is in the capture.

use crate::{
    explore::near_miss::{self, Mistake},
    fact::{Certainty, Fact, Value, fact},
    id::digits_apart,
    intake::Statement,
    ladder::{
        finding::Finding,
        gateway::told::says,
        join::{Case, proven::receiving::OFF_US},
    },
    radio::Modulation,
    region::{JoinFit, Plan, PlanKind, plans_joining_at},
    trace::Told,
};

/// A window that opens so much early may be open still when the accept comes.
const EARLY_US: i64 = 500_000;
/// Join windows open after this.
const JOIN_US: i64 = 5_000_000;
/// Statements that are quoted.
const MOST_TOLD: usize = 4;
/// Transmissions outside a sub-band that are no accident.
const LEAST_OUTSIDE: usize = 3;

/// First windows of joins that all open at the wrong time.
pub(in crate::ladder) fn late(case: &Case<'_>) -> Option<Finding> {
    if !case.node.attempts.is_empty() {
        return None;
    }
    let windows: Vec<(&Told, i64)> = case
        .node
        .told
        .iter()
        .filter_map(|told| match told.said.what {
            Statement::WindowOpened { after_us, of_join: true, .. } => Some((told, after_us)),
            _ => None,
        })
        .collect();
    let (_, first) = *windows.first()?;
    let off = |us: i64| !(JOIN_US - EARLY_US..=JOIN_US + OFF_US).contains(&us);
    if !windows.iter().all(|(_, us)| off(*us)) {
        return None;
    }
    let finding = Finding::new(
        Certainty::Likely,
        fact!(
            "by its console the node opens its first window {window} after the end of transmission; that of a join is \
             at 5.000 s",
            window = Value::Micros(first)
        ),
        "count the 5 s in the node from the end of transmission (the radio's interrupt), by a clock whose error is \
         known; 1 s is the delay of data, not of a join",
    );
    let quoted = windows.iter().take(MOST_TOLD).map(|(told, _)| says(told));
    Some(quoted.fold(finding, Finding::and))
}

/// Where the node says that it transmits.
fn sent<'a>(case: &Case<'a>) -> Vec<(&'a Told, u32)> {
    if !case.node.attempts.is_empty() {
        return Vec::new();
    }
    let sent = case.node.told.iter().filter_map(|told| match told.said.what {
        Statement::Transmitted { freq_hz: Some(hz) } => Some((told, hz)),
        _ => None,
    });
    sent.collect()
}

/// Data rates of joins, one of which must fit.
fn rates() -> impl Iterator<Item = Modulation> {
    let wide = Modulation::Lora { sf: 8, bw_khz: 500 };
    (7..=12).map(|sf| Modulation::Lora { sf, bw_khz: 125 }).chain([wide])
}

fn channel(plan: &Plan, hz: u32) -> Option<u16> {
    rates().find_map(|rate| match plan.join_fit(hz, rate) {
        JoinFit::Fits { channel } | JoinFit::Inexact { channel, .. } => Some(channel),
        _ => None,
    })
}

/// The first transmission off the plan, or outside the gateways' sub-band.
pub(in crate::ladder) fn off_plan<'a>(case: &Case<'a>) -> Option<(&'a Told, u32)> {
    another_plan(case)
        .map(|(told, _)| told)
        .or_else(|| outside(case).map(|(told, ..)| told))?
        .first()
        .copied()
}

type Sent<'a> = Vec<(&'a Told, u32)>;

fn another_plan<'a>(case: &Case<'a>) -> Option<(Sent<'a>, Vec<&'static Plan>)> {
    let plan = case.plan?;
    let sent = sent(case);
    let (_, first) = *sent.first()?;
    if sent.iter().any(|(_, hz)| channel(plan, *hz).is_some()) {
        return None;
    }
    let mut plans: Vec<&'static Plan> = Vec::new();
    for other in rates().flat_map(|rate| plans_joining_at(first, rate)) {
        let all = sent.iter().all(|(_, hz)| channel(other, *hz).is_some());
        if all && plans.iter().all(|own| own.name != other.name) {
            plans.push(other);
        }
    }
    (!plans.is_empty()).then_some((sent, plans))
}

/// The node transmits on the join channels of another region.
pub(in crate::ladder) fn another_region(case: &Case<'_>) -> Option<Finding> {
    let plan = case.plan?;
    let (sent, plans) = another_plan(case)?;
    let mut frequencies: Vec<u32> = sent.iter().map(|(_, hz)| *hz).collect();
    frequencies.sort_unstable();
    frequencies.dedup();
    let finding = Finding::new(
        if frequencies.len() > 1 { Certainty::Likely } else { Certainty::Possible },
        fact!(
            "by its console the node sends on {frequencies}: join channels of {node_region}, not of {region}",
            frequencies = Value::list(frequencies.into_iter().map(Value::Frequency)),
            node_region = Value::List(plans.iter().map(|plan| plan.name.into()).collect(), " or "),
            region = plan.name
        ),
        "set node, record and gateways to the region in which they stand",
    );
    let quoted = sent.iter().take(MOST_TOLD).map(|(told, _)| says(told));
    Some(quoted.fold(finding, Finding::and))
}

/// Transmissions outside the sub-band to which all gateways are set, their channels, and that sub-band.
fn outside<'a>(case: &Case<'a>) -> Option<(Sent<'a>, Vec<u16>, u8)> {
    let plan = case.plan.filter(|plan| plan.kind == PlanKind::Fixed)?;
    let mut bands =
        case.roster.gateways.iter().map(|gateway| gateway.sub_band.or(case.roster.sub_band));
    let own = bands.next().unwrap_or(case.roster.sub_band)?;
    if bands.any(|band| band != Some(own)) {
        return None;
    }
    let sent = sent(case);
    let out: Vec<(&Told, u32)> = sent
        .into_iter()
        .filter(|(_, hz)| {
            channel(plan, *hz).is_some_and(|channel| plan.sub_band(channel) != Some(own))
        })
        .collect();
    let mut channels: Vec<u16> = out.iter().filter_map(|(_, hz)| channel(plan, *hz)).collect();
    channels.sort_unstable();
    channels.dedup();
    (channels.len() >= LEAST_OUTSIDE).then_some((out, channels, own))
}

/// The node hops over channels that the gateways do not receive.
pub(in crate::ladder) fn outside_the_sub_band(case: &Case<'_>) -> Option<Finding> {
    let (sent, channels, own) = outside(case)?;
    let finding = Finding::new(
        Certainty::Likely,
        fact!(
            "by its console the node asks in channels {channels}; the gateways are set to sub-band {sub_band}",
            channels = Value::Channels(channels),
            sub_band = own
        ),
        "limit the node to the gateway's sub-band, or set the gateway to the node's",
    );
    let quoted = sent.iter().take(MOST_TOLD).map(|(told, _)| says(told));
    Some(quoted.fold(finding, Finding::and))
}

fn set<'a>(case: &Case<'a>, what: &Statement) -> Option<&'a Told> {
    case.node
        .told
        .iter()
        .rfind(|told| told.said.what == *what)
        .filter(|_| case.node.attempts.is_empty())
}

/// The root key that a command sets differs from the one on record by a typing error.
pub(in crate::ladder) fn key_typed(case: &Case<'_>) -> Option<Finding> {
    let told = set(case, &Statement::RootKeySet)?;
    let used = case.firmware()?.app_key.as_ref()?;
    let claimed = case.record()?.app_key.as_ref()?;
    // Two random keys differ in 30 of 32 digits.
    if !(1..=2).contains(&digits_apart(*used.key().expose(), *claimed.key().expose())) {
        return None;
    }
    let finding = Finding::new(
        Certainty::Likely,
        Fact::from(
            "the AppKey that the node was given differs from the one on record by a typing error",
        ),
        "compare both with the source of the key, and correct the one that differs",
    );
    Some(finding.and(says(told)))
}

/// The DevEUI that a command sets is the one on record backwards.
pub(in crate::ladder) fn eui_reversed(case: &Case<'_>) -> Option<Finding> {
    let told = set(case, &Statement::DevEuiSet)?;
    let (sent, claimed) = (case.firmware()?.dev_eui?.0, case.record()?.dev_eui?.0);
    if near_miss::eui_relation(sent, claimed) != Some(Mistake::OctetsReversed) {
        return None;
    }
    let finding = Finding::new(
        Certainty::Likely,
        fact!(
            "the DevEUI that the node was given, {sent}, is the one on record, {claimed}, read backwards, byte by byte",
            sent,
            claimed
        ),
        "give the node the DevEUI in the order in which it is printed",
    );
    Some(finding.and(says(told)))
}
