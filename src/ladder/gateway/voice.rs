//! Whether anything of a gateway is in the capture, and why not.

use super::{
    identity::{is_made_of, slip},
    world::{World, has_spoken},
};
use crate::{
    fact::Certainty,
    id::Eui64,
    trace::{Asker, GatewayTrace, Moment, NameAsked},
};

/// A gateway that sends nothing for so many keep-alive periods of another is silent.
const KEEP_ALIVES: i64 = 30;
/// And for no less than this.
const LEAST_SILENT_US: i64 = 120_000_000;
/// Answers without an address, or questions without an answer, before a name is called not resolved.
const LEAST_ANSWERS: u64 = 2;
const LEAST_QUESTIONS: u64 = 3;

/// Whether a gateway speaks, and why not.
#[derive(Debug)]
pub(in crate::ladder) enum Speaks<'a> {
    Yes,
    /// Its host asks for the server's name, and gets no address.
    Unresolved(Unresolved<'a>),
    /// Another EUI, a typing error away, speaks.
    Elsewhere(Eui64),
    /// Others speak, and it does not.
    Silent(Silent),
    /// The capture names no gateway.
    Unnamed,
    /// Only the server's side is in the capture.
    OneSided,
    Nothing,
}

/// A name that is not resolved.
#[derive(Clone, Copy, Debug)]
pub(in crate::ladder) struct Unresolved<'a> {
    pub(in crate::ladder) asker: &'a Asker,
    pub(in crate::ladder) name: &'a NameAsked,
    /// Whether the host's link-layer address is in the gateway's EUI.
    pub(in crate::ladder) is_own: bool,
    pub(in crate::ladder) certainty: Certainty,
}

/// A gateway that sends nothing while others do.
#[derive(Clone, Copy, Debug)]
pub(in crate::ladder) struct Silent {
    /// Another one of the roster.
    pub(in crate::ladder) other: Eui64,
    /// The first and the last of what that sends.
    pub(in crate::ladder) span: (Moment, Moment),
    /// How often it asks for downlinks, microseconds.
    pub(in crate::ladder) keep_alive_us: i64,
    /// How many others of the roster speak.
    pub(in crate::ladder) others: usize,
    pub(in crate::ladder) certainty: Certainty,
}

impl<'a> Speaks<'a> {
    pub(super) fn of(
        world: &World<'a>,
        eui: Option<Eui64>,
        heard: Option<&'a GatewayTrace>,
    ) -> Self {
        if heard.is_some_and(has_spoken) {
            return Self::Yes;
        }
        let Some(eui) = eui else { return Self::Nothing };
        if let Some(unresolved) = unresolved(world, eui) {
            return Self::Unresolved(unresolved);
        }
        if heard.is_some() {
            return Self::OneSided;
        }
        if let Some(near) = elsewhere(world, eui) {
            return Self::Elsewhere(near);
        }
        if world.trace.gateways.contains_key(&None) {
            return Self::Unnamed;
        }
        silent(world, eui).map_or(Self::Nothing, Self::Silent)
    }

    /// Returns whether the capture shows that it cannot speak, or that others do.
    pub(super) fn is_broken(&self) -> bool {
        match self {
            Self::Unresolved(unresolved) => unresolved.certainty != Certainty::Possible,
            Self::Silent(_) => true,
            _ => false,
        }
    }
}

/// A name that the gateway's host asks for in vain.
fn unresolved<'a>(world: &World<'a>, eui: Eui64) -> Option<Unresolved<'a>> {
    let only_gateway = world.roster.gateways.len() == 1 && world.lists(eui);
    let askers = || world.trace.askers.all().iter();
    let own = askers().find(|asker| asker.link.is_some_and(|link| is_made_of(eui, link)));
    let (asker, is_own) = match own {
        Some(asker) => (asker, true),
        None if only_gateway && askers().count() == 1 => (askers().next()?, false),
        None => return None,
    };
    let refused = |name: &NameAsked| name.no_such_name + name.failed + name.empty;
    let in_vain = |name: &&NameAsked| {
        let unanswered = refused(name) == 0 && name.asked >= LEAST_QUESTIONS;
        name.resolved == 0 && (refused(name) >= LEAST_ANSWERS || unanswered)
    };
    let name = asker.names.iter().filter(in_vain).max_by_key(|name| name.asked)?;
    let others_resolve = asker.names.iter().any(|name| name.resolved > 0);
    let no_such_name = name.no_such_name > 0 && name.failed + name.empty == 0;
    let certainty = match (is_own, no_such_name) {
        (true, true) if !others_resolve => Certainty::Certain,
        (true, _) => Certainty::Likely,
        // The host may be another one.
        (false, _) => Certainty::Possible,
    };
    Some(Unresolved { asker, name, is_own, certainty })
}

/// A gateway on no roster that speaks under an EUI near this one.
fn elsewhere(world: &World<'_>, eui: Eui64) -> Option<Eui64> {
    let strangers = world.speaking.iter().filter(|sent| !world.registered.contains(sent));
    strangers.copied().find(|sent| slip(*sent, eui).is_some())
}

/// Whether others of the roster speak while this one does not.
fn silent(world: &World<'_>, eui: Eui64) -> Option<Silent> {
    let listed = &world.roster.gateways;
    let others: Vec<Eui64> = listed
        .iter()
        .map(|gateway| gateway.eui)
        .filter(|other| *other != eui && world.speaking.contains(other))
        .collect();
    // A roster may name gateways of other places: it takes half of them, or a node heard here that is recorded
    // with this one, too.
    let heard_nodes = world.trace.nodes.iter().filter(|node| {
        !node.attempts.is_empty() || node.sessions.iter().any(|session| !session.frames.is_empty())
    });
    let recorded = heard_nodes
        .filter_map(|node| world.roster.nodes.get(node.index?)?.record.as_ref())
        .any(|record| record.gateways.contains(&eui));
    if !recorded && others.len() * 2 < listed.len() {
        return None;
    }
    let told = others.iter().filter_map(|other| {
        let heard = world.trace.gateways.get(&Some(*other))?;
        let keep_alive_us = heard.pull.gaps.median()?;
        let span = heard.span?;
        let us = span.1.since(span.0)?;
        let long = us >= LEAST_SILENT_US && us >= KEEP_ALIVES.saturating_mul(keep_alive_us);
        long.then_some((*other, span, keep_alive_us))
    });
    let (other, span, keep_alive_us) = told.max_by_key(|(_, span, _)| span.1.since(span.0))?;
    // A recorder on one gateway's own host sees that one alone.
    let certainty = if others.len() > 1 { Certainty::Likely } else { Certainty::Possible };
    Some(Silent { other, span, keep_alive_us, others: others.len(), certainty })
}
