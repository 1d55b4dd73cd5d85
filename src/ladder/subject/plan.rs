//! The channel plan by which a node is judged.

use crate::{
    radio::Modulation,
    region::{JoinFit, Plan, plans_joining_at},
    roster::{Node, Roster},
    trace::{Answer, Attempt, NodeTrace, Trace},
};

/// The plan that is stated: by the roster for the node, by the user, by the gateways' server.
pub(super) fn stated(
    trace: &Trace,
    roster: &Roster,
    entry: Option<&Node>,
    given: Option<&'static Plan>,
) -> Option<&'static Plan> {
    let plan = match entry {
        Some(entry) => roster.plan_for(entry),
        None => roster.region.or_else(|| same(roster.gateways.iter().filter_map(|g| g.region))),
    };
    plan.or(given).or_else(|| told(trace))
}

/// The plan by which the node asks and its server answers, where the stated plan has none of the
/// requests on its channels: then the statement is wrong, and neither node nor server is.
pub(super) fn in_use(node: &NodeTrace, stated: &Plan) -> Option<&'static Plan> {
    let mut asked = Vec::new();
    for attempt in &node.attempts {
        let best = attempt.heard.best();
        asked.push((attempt, best.freq_hz?, best.modulation?));
    }
    let &(_, hz, data_rate) = asked.first()?;
    if asked.iter().any(|&(_, hz, data_rate)| !is_foreign(stated, hz, data_rate)) {
        return None;
    }
    let in_use = |plan: &&'static Plan| {
        asked.iter().all(|&(_, hz, data_rate)| plan.join_fit(hz, data_rate).is_fit())
            && asked
                .iter()
                .any(|&(attempt, hz, data_rate)| answers_by(plan, attempt, hz, data_rate))
    };
    let mut plans = plans_joining_at(hz, data_rate).into_iter().filter(in_use);
    let plan = plans.next()?;
    plans.next().is_none().then_some(plan)
}

/// Whether a frequency has no place among the channels of a plan.
fn is_foreign(plan: &Plan, hz: u32, data_rate: Modulation) -> bool {
    matches!(plan.join_fit(hz, data_rate), JoinFit::OutOfBand | JoinFit::OffGrid { .. })
}

/// Whether a request was answered in a window that the plan has for it.
fn answers_by(plan: &Plan, attempt: &Attempt, hz: u32, data_rate: Modulation) -> bool {
    let windows = [plan.join_rx1(hz, data_rate), Some(plan.join_rx2(hz))];
    let fits = |answer: &Answer| {
        let sending = &answer.sending;
        windows.iter().flatten().any(|window| {
            sending.freq_hz == Some(window.freq_hz) && sending.modulation == Some(window.modulation)
        })
    };
    attempt.answers.iter().any(fits)
}

/// The plan that the gateways' server gave them, where all have the same.
fn told(trace: &Trace) -> Option<&'static Plan> {
    let plans: Option<Vec<_>> = trace
        .gateways
        .values()
        .filter_map(|gateway| gateway.plan.as_ref())
        .map(|plan| plan.channels())
        .collect();
    same(plans?.into_iter())
}

/// The plan that all have.
fn same(mut plans: impl Iterator<Item = &'static Plan>) -> Option<&'static Plan> {
    let first = plans.next()?;
    plans.all(|plan| plan.name == first.name).then_some(first)
}
