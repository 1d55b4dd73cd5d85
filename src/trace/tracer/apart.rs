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
    trace::{Ask, Attempt, Data, Earlier, Kept, NodeTrace, Origin, Session},
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
            for dev_eui in guests(node, entry) {
                parted.push(part(node, entry, dev_eui));
            }
        }
        self.trace.nodes.extend(parted);
    }
}

/// The DevEUIs of requests that are put with a node and are not its own.
fn guests(node: &NodeTrace, entry: &Node) -> Vec<DevEui> {
    if entry.claims().all(|(_, claim)| claim.dev_eui.is_none()) {
        return Vec::new();
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

/// Takes from a node what is under a DevEUI that is not its own.
fn part(node: &mut NodeTrace, entry: &Node, dev_eui: DevEui) -> NodeTrace {
    let mut guest = NodeTrace { dev_eui: Some(dev_eui), ..NodeTrace::default() };
    let is_guest = |attempt: &Attempt| attempt.ask.dev_eui() == Some(dev_eui);
    let whose: Vec<bool> = node.attempts.iter().map(is_guest).collect();
    let new_place = |place: usize| {
        let theirs = whose.get(place)?;
        let before = whose.iter().take(place).filter(|other| *other == theirs).count();
        Some((*theirs, before))
    };
    let mut attempts = Kept::default();
    node.attempts.retain(
        |attempt| !is_guest(attempt),
        |attempt| {
            attempts.push(attempt);
        },
    );
    node.attempts.settle();
    let mut own: Vec<Session> = Vec::new();
    let mut theirs: Vec<Session> = Vec::new();
    node.sessions.retain(|_| false, |session| own.push(session));
    own.retain_mut(|session| {
        let Origin::Accept { attempt, answer } = session.origin else { return true };
        // Whose a session is whose request is forgotten, nobody knows.
        let Some((is_guests, attempt)) = new_place(attempt) else { return false };
        session.origin = Origin::Accept { attempt, answer };
        if is_guests {
            theirs.push(session.clone());
        }
        !is_guests
    });
    let addresses = |sessions: &[Session]| -> BTreeSet<DevAddr> {
        sessions.iter().map(|session| session.dev_addr).collect()
    };
    let (kept, gone) = (addresses(&own), addresses(&theirs));
    let stays = |data: &Data| {
        let address = data.frame().dev_addr;
        kept.contains(&address) || !gone.contains(&address)
    };
    let unverified = &mut guest.unverified;
    node.unverified.retain(stays, |data| {
        unverified.push(data);
    });
    node.unverified.settle();
    node.sessions = own.into_iter().collect();
    // The nonces of forgotten requests may be the other's.
    node.earlier = Earlier::default();
    let last = node.attempts.last().map(|attempt| &attempt.ask);
    let claimed = |(_, claim): (_, &Claim)| claim.dev_eui;
    node.dev_eui = last.and_then(Ask::dev_eui).or_else(|| entry.claims().find_map(claimed));
    let claimed = |(_, claim): (_, &Claim)| claim.join_eui;
    node.join_eui = last.and_then(Ask::join_eui).or_else(|| entry.claims().find_map(claimed));
    guest.join_eui = attempts.last().and_then(|attempt: &Attempt| attempt.ask.join_eui());
    guest.attempts = attempts;
    guest.sessions = theirs.into_iter().collect();
    guest
}
