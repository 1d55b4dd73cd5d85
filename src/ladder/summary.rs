//! A fleet on one page: how many nodes and gateways ended how and why, and which are the worst.

use std::{cmp::Reverse, collections::BTreeMap};

use super::{
    CauseId, Diagnosis, Findings, GatewayDiagnosis, GatewayOutcome, Outcome, verdict::Verdict,
};
use crate::fact::Certainty;

/// How many of the worst are named.
const WORST: usize = 10;

/// What there is to say of a fleet.
#[derive(Clone, Debug)]
pub struct Summary<'a> {
    /// How many gateways.
    pub gateways: usize,
    /// How many nodes: those of the roster and those that were heard.
    pub nodes: usize,
    /// Of the nodes, how many are a neighbour's: on no roster, while there is one.
    pub strangers: usize,
    /// How many gateways ended how, in the order of [`GatewayOutcome::ALL`], without those that none has.
    pub gateway_outcomes: Vec<(GatewayOutcome, usize)>,
    /// How many nodes ended how, in the order of [`Outcome::ALL`], without those that none has.
    pub outcomes: Vec<(Outcome, usize)>,
    /// Every cause that was found, the most frequent first.
    pub causes: Vec<Frequency>,
    /// The gateways with most against them, the worst first; none of which nothing is wrong.
    pub worst_gateways: Vec<&'a GatewayDiagnosis>,
    /// The nodes with most against them, likewise.
    pub worst_nodes: Vec<&'a Diagnosis>,
}

/// How often a cause was found.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct Frequency {
    /// The cause.
    pub cause: CauseId,
    /// Of how many nodes.
    pub nodes: usize,
    /// Of how many gateways.
    pub gateways: usize,
    /// How often it is certain.
    pub certain: usize,
}

impl<'a> Summary<'a> {
    /// Sums up what was found.
    pub fn of(all: &'a Findings) -> Self {
        let mut causes: BTreeMap<CauseId, Frequency> = BTreeMap::new();
        let mut count = |verdict: &Verdict, nodes: usize, gateways: usize| {
            let cause = verdict.cause.id;
            let of = causes.entry(cause).or_insert(Frequency {
                cause,
                nodes: 0,
                gateways: 0,
                certain: 0,
            });
            of.nodes += nodes;
            of.gateways += gateways;
            of.certain += usize::from(verdict.certainty == Certainty::Certain);
        };
        all.gateways.iter().flat_map(|one| &one.causes).for_each(|verdict| count(verdict, 0, 1));
        all.nodes.iter().flat_map(|one| &one.causes).for_each(|verdict| count(verdict, 1, 0));
        let mut causes: Vec<Frequency> = causes.into_values().collect();
        causes.sort_by_key(|of| Reverse(of.nodes + of.gateways));
        Self {
            gateways: all.gateways.len(),
            nodes: all.nodes.len(),
            strangers: all.nodes.iter().filter(|one| one.stranger).count(),
            gateway_outcomes: counted(GatewayOutcome::ALL, all.gateways.iter().map(|g| g.outcome)),
            outcomes: counted(Outcome::ALL, all.nodes.iter().map(|node| node.outcome)),
            causes,
            worst_gateways: worst(&all.gateways, GatewayDiagnosis::has_fault, |gateway| {
                gravity(&gateway.causes, 0, 0)
            }),
            worst_nodes: worst(&all.nodes, Diagnosis::has_fault, |node| {
                gravity(&node.causes, usize::from(node.outcome.is_down()), node.in_vain)
            }),
        }
    }
}

fn counted<O: Copy + PartialEq>(all: &[O], found: impl Iterator<Item = O>) -> Vec<(O, usize)> {
    let mut counts = vec![0; all.len()];
    for outcome in found {
        if let Some(count) = all.iter().position(|one| *one == outcome) {
            counts.get_mut(count).into_iter().for_each(|n| *n += 1);
        }
    }
    all.iter().copied().zip(counts).filter(|(_, count)| *count > 0).collect()
}

/// What makes one worse than another: that it does not work at all, how many causes are certain, how many
/// there are, how often it failed.
type Gravity = (usize, usize, usize, usize);

fn gravity(causes: &[Verdict], down: usize, in_vain: usize) -> Gravity {
    let certain = causes.iter().filter(|verdict| verdict.certainty == Certainty::Certain).count();
    (down, certain, causes.len(), in_vain)
}

fn worst<T>(all: &[T], is_bad: fn(&T) -> bool, gravity: impl Fn(&T) -> Gravity) -> Vec<&T> {
    let mut bad: Vec<&T> = all.iter().filter(|one| is_bad(one)).collect();
    bad.sort_by_key(|one| Reverse(gravity(one)));
    bad.truncate(WORST);
    bad
}
