//! Requests on the channels of another region, and what each side says of the region.

use super::heard_at;
use crate::{
    id::Eui64,
    ladder::join::{Case, Rung},
    radio::Modulation,
    region::{JoinFit, Plan, plans_joining_at},
    trace::Attempt,
};

/// Unanswered requests that belong to other plans than the node's.
#[derive(Debug)]
pub(in crate::ladder) struct Foreign<'a> {
    pub(in crate::ladder) requests: Vec<(&'a Attempt, u32, Modulation)>,
    /// The plans that explain all of them, the groups of one region alone where one does.
    pub(in crate::ladder) plans: Vec<&'static Plan>,
}

/// Which region a side states.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(in crate::ladder) enum States {
    /// The one by which the node is judged.
    Own,
    /// One that explains the requests.
    Foreign,
    /// Another one.
    Third,
}

impl<'a> Foreign<'a> {
    pub(in crate::ladder) fn of(case: &Case<'a>) -> Option<Self> {
        let plan = case.plan?;
        // A server that answers takes the request all the same.
        let unanswered = heard_at(case).filter(|(attempt, ..)| attempt.answers.is_empty());
        let strays: Vec<_> = unanswered
            .filter(|(_, hz, m)| {
                matches!(plan.join_fit(*hz, *m), JoinFit::OutOfBand | JoinFit::OffGrid { .. })
            })
            .collect();
        let (requests, plans) = if strays.is_empty() {
            let outside = outside_sub_band(case);
            let mut plans = explaining(plan, &outside);
            // Channels of the plan they are, too: only a claim makes them another region's.
            plans.retain(|other| case.firmware().and_then(|f| f.region) == Some(*other));
            (outside, plans)
        } else {
            let mut plans = explaining(plan, &strays);
            narrow(case, plan, &strays, &mut plans);
            (strays, plans)
        };
        (!plans.is_empty()).then_some(Self { requests, plans })
    }

    /// What a stated region is to these requests.
    pub(in crate::ladder) fn states(
        &self,
        case: &Case<'_>,
        region: Option<&'static Plan>,
    ) -> Option<States> {
        let region = region?;
        Some(if case.plan == Some(region) {
            States::Own
        } else if self.plans.contains(&region) {
            States::Foreign
        } else {
            States::Third
        })
    }

    /// The gateways that heard the requests, each with the region that it is said to have.
    pub(in crate::ladder) fn gateways(
        &self,
        case: &Case<'_>,
    ) -> Vec<(Eui64, Option<&'static Plan>)> {
        let sightings = self.requests.iter().flat_map(|(attempt, ..)| attempt.heard.sightings());
        let mut euis: Vec<Eui64> = sightings.filter_map(|seen| seen.gateway).collect();
        euis.sort_unstable();
        euis.dedup();
        euis.into_iter().map(|eui| (eui, case.gateway_region(eui))).collect()
    }
}

/// Requests on channels of the plan that the gateway's sub-band lacks.
fn outside_sub_band<'a>(case: &Case<'a>) -> Vec<(&'a Attempt, u32, Modulation)> {
    let broken = case.broken_at(Rung::OnPlan).filter(|(_, attempt)| attempt.answers.is_empty());
    let heard = broken.filter_map(|(_, attempt)| {
        let best = attempt.heard.best();
        Some((attempt, best.freq_hz?, best.modulation?))
    });
    let plan = case.plan;
    heard.filter(|(_, hz, m)| plan.is_some_and(|plan| plan.join_fit(*hz, *m).is_fit())).collect()
}

/// The other plans that have all of the requests on their join channels.
fn explaining(plan: &Plan, requests: &[(&Attempt, u32, Modulation)]) -> Vec<&'static Plan> {
    let Some((_, hz, data_rate)) = requests.first() else { return Vec::new() };
    let mut plans = plans_joining_at(*hz, *data_rate);
    plans.retain(|other| {
        other.name != plan.name
            && requests.iter().all(|(_, hz, m)| other.join_fit(*hz, *m).is_fit())
    });
    plans
}

/// Of several plans that explain the requests, those that are likelier: another group of the same
/// region before other regions, then what a claim or a gateway that heard them states.
fn narrow(
    case: &Case<'_>,
    plan: &Plan,
    requests: &[(&Attempt, u32, Modulation)],
    plans: &mut Vec<&'static Plan>,
) {
    let mut keep = |wanted: &dyn Fn(&Plan) -> bool| {
        let likelier: Vec<_> = plans.iter().copied().filter(|plan| wanted(plan)).collect();
        if !likelier.is_empty() {
            *plans = likelier;
        }
    };
    keep(&|other| other.is_variant_of(plan));
    let claimed = case.firmware().and_then(|firmware| firmware.region);
    keep(&|other| claimed.is_some_and(|claimed| claimed.name == other.name));
    let sightings = requests.iter().flat_map(|(attempt, ..)| attempt.heard.sightings());
    let gateways: Vec<_> = sightings
        .filter_map(|seen| case.gateway_region(seen.gateway?))
        .map(|region| region.name)
        .collect();
    keep(&|other| gateways.contains(&other.name));
}
