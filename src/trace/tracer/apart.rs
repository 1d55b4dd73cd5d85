//! Who was taken for a node of the roster and is another one.
//!
//! A request under a DevEUI that the roster does not state is put with the node whose key signs it,
//! or whose DevEUI is like it. Only the whole capture tells whether that node speaks for itself, or
//! whether several are alike: what fleets with DevEUIs in a row, and fleets with one root key, make
//! likely. Then what was put there is a node of its own, on no roster.

use std::collections::{BTreeMap, BTreeSet};

use super::Tracer;
use crate::{
    id::{DevAddr, DevEui},
    roster::{Claim, Node},
    trace::{Ask, Attempt, Earlier, NodeTrace, Origin, Session},
};

/// What is known of the requests under one DevEUI that the roster does not state.
#[derive(Clone, Copy, Debug, Default)]
struct Guest {
    /// A key of the node signs one of them.
    is_signed: bool,
    /// The server answered one of them: it has this DevEUI on record.
    is_answered: bool,
}

impl Tracer<'_> {
    /// Makes nodes of their own of those that were taken for nodes of the roster.
    pub(super) fn part_guests(&mut self) {
        let mut parted = Vec::new();
        for (node, entry) in self.trace.nodes.iter_mut().zip(&self.roster.nodes) {
            let guests = guests(node, entry);
            if !guests.is_empty() {
                parted.extend(part(node, entry, &guests));
            }
        }
        self.trace.nodes.extend(parted);
    }
}

/// The DevEUIs of requests that are put with a node and are not its own.
fn guests(node: &NodeTrace, entry: &Node) -> BTreeSet<DevEui> {
    if entry.claims().all(|(_, claim)| claim.dev_eui.is_none()) {
        return BTreeSet::new();
    }
    let mut speaks = false;
    let mut guests: BTreeMap<DevEui, Guest> = BTreeMap::new();
    for attempt in &node.attempts {
        let Some(dev_eui) = attempt.ask.dev_eui().filter(|_| !is_own(entry, &attempt.ask)) else {
            speaks = true;
            continue;
        };
        let guest = guests.entry(dev_eui).or_default();
        guest.is_signed |= !attempt.holds_under.is_empty();
        guest.is_answered |= is_answered(attempt);
    }
    let signed = guests.values().filter(|guest| guest.is_signed).count();
    let alike = guests.len();
    guests.retain(|_, guest| {
        let alone = if guest.is_signed { signed == 1 } else { alike == 1 };
        speaks || guest.is_answered || !alone
    });
    guests.into_keys().collect()
}

fn is_own(entry: &Node, ask: &Ask) -> bool {
    super::who::likeness(entry, ask) == 0
}

/// Whether the server answered a request. Under a key of the roster an accept that opens is sure;
/// of the others the slot tells.
fn is_answered(attempt: &Attempt) -> bool {
    let mut answers = attempt.answers.iter();
    if attempt.holds_under.is_empty() {
        answers.len() > 0
    } else {
        answers.any(|answer| !answer.openings.is_empty())
    }
}

/// Takes from a node what is under DevEUIs that are not its own: a node for each.
fn part(node: &mut NodeTrace, entry: &Node, guests: &BTreeSet<DevEui>) -> Vec<NodeTrace> {
    let guest_of = |attempt: &Attempt| attempt.ask.dev_eui().filter(|eui| guests.contains(eui));
    let mut counts: BTreeMap<Option<DevEui>, usize> = BTreeMap::new();
    let new_place = |attempt: &Attempt| {
        let owner = guest_of(attempt);
        let count = counts.entry(owner).or_default();
        *count += 1;
        (owner, *count - 1)
    };
    let places: Vec<(Option<DevEui>, usize)> = node.attempts.iter().map(new_place).collect();
    let mut attempts = node.attempts.part(|attempt| guest_of(attempt));
    // Whose a session is whose request is forgotten, nobody knows.
    let is_known = |session: &Session| match session.origin {
        Origin::Accept { attempt, .. } => places.get(attempt).is_some(),
        Origin::Claim(_) => true,
    };
    let forgotten = &mut node.forgotten_frames;
    node.sessions.retain(is_known, |session| *forgotten += session.frames.total());
    let mut sessions = node.sessions.part(|session| {
        let Origin::Accept { attempt, .. } = &mut session.origin else { return None };
        let (owner, place) = places.get(*attempt)?;
        *attempt = *place;
        *owner
    });
    let kept: BTreeSet<DevAddr> = node.sessions.iter().map(|own| own.dev_addr).collect();
    let mut gone: BTreeMap<DevAddr, DevEui> = BTreeMap::new();
    for (guest, sessions) in &sessions {
        for session in sessions.iter().filter(|own| !kept.contains(&own.dev_addr)) {
            gone.entry(session.dev_addr).or_insert(*guest);
        }
    }
    let mut unverified = node.unverified.part(|data| gone.get(&data.frame().dev_addr).copied());
    // The nonces of forgotten requests may be a guest's.
    node.earlier = Earlier::default();
    let last = node.attempts.last().map(|attempt| &attempt.ask);
    let claimed = |(_, claim): (_, &Claim)| claim.dev_eui;
    node.dev_eui = last.and_then(Ask::dev_eui).or_else(|| entry.claims().find_map(claimed));
    let claimed = |(_, claim): (_, &Claim)| claim.join_eui;
    node.join_eui = last.and_then(Ask::join_eui).or_else(|| entry.claims().find_map(claimed));
    let of_guest = |dev_eui: &DevEui| {
        let attempts = attempts.remove(dev_eui).unwrap_or_default();
        NodeTrace {
            dev_eui: Some(*dev_eui),
            join_eui: attempts.last().and_then(|attempt: &Attempt| attempt.ask.join_eui()),
            attempts,
            sessions: sessions.remove(dev_eui).unwrap_or_default(),
            unverified: unverified.remove(dev_eui).unwrap_or_default(),
            ..NodeTrace::default()
        }
    };
    guests.iter().map(of_guest).collect()
}
