//! What only shows when nodes are held against each other: identities and keys that are not one
//! node's own.

use std::collections::HashMap;

use zeroize::{Zeroize, ZeroizeOnDrop};

use super::{
    Difference, DifferenceKind, Severity, Subject, sample, slot,
    words::{names, spelt, the},
};
use crate::{
    id::{DevAddr, Eui64},
    key::Aes128Key,
    ladder::CauseId,
    roster::{Claim, ClaimKind},
};

/// A key's octets as what a map is searched by; wiped when dropped.
#[derive(Eq, Hash, PartialEq, Zeroize, ZeroizeOnDrop)]
struct KeyOctets([u8; 16]);

impl KeyOctets {
    const fn of(key: &Aes128Key) -> Self {
        Self(*key.expose())
    }
}

/// All nodes, by what should be one node's own; each list rises.
pub(super) struct Fleet<'s> {
    subjects: &'s [Subject],
    by_dev_eui: HashMap<(ClaimKind, Eui64), Vec<usize>>,
    by_dev_addr: HashMap<(ClaimKind, DevAddr), Vec<usize>>,
    by_root: HashMap<(ClaimKind, KeyOctets), Vec<(usize, &'static str)>>,
}

impl<'s> Fleet<'s> {
    pub(super) fn of(subjects: &'s [Subject]) -> Self {
        let mut fleet = Self {
            subjects,
            by_dev_eui: HashMap::new(),
            by_dev_addr: HashMap::new(),
            by_root: HashMap::new(),
        };
        for (index, subject) in subjects.iter().enumerate() {
            for (kind, claim) in subject.node.claims() {
                if let Some(eui) = claim.dev_eui {
                    fleet.by_dev_eui.entry((kind, eui.0)).or_default().push(index);
                }
                if let Some(addr) = claim.dev_addr {
                    fleet.by_dev_addr.entry((kind, addr)).or_default().push(index);
                }
                for (member, key) in roots(claim) {
                    let all = fleet.by_root.entry((kind, KeyOctets::of(key))).or_default();
                    all.push((index, member));
                }
            }
        }
        fleet
    }

    /// Returns another node whose record or label has this DevEUI.
    pub(super) fn other_with_dev_eui(&self, eui: Eui64, index: usize) -> Option<&'s Subject> {
        [ClaimKind::Record, ClaimKind::Label]
            .into_iter()
            .filter_map(|kind| self.by_dev_eui.get(&(kind, eui)))
            // one's own record is no other's, even if another has the same
            .filter(|all| all.binary_search(&index).is_err())
            .find_map(|all| self.subjects.get(*all.first()?))
    }

    /// Returns another node that has this root key, and where.
    pub(super) fn other_with_key(
        &self,
        key: &Aes128Key,
        index: usize,
    ) -> Option<(&'s Subject, ClaimKind, &'static str)> {
        if sample::of_key(key).is_some() {
            return None;
        }
        let with = ClaimKind::ALL.into_iter().filter_map(|kind| {
            let all = self.by_root.get(&(kind, KeyOctets::of(key)))?;
            let (other, member) = all.iter().find(|(other, _)| *other != index)?;
            Some((*other, kind, *member))
        });
        let (other, kind, member) = with.min_by_key(|(other, ..)| *other)?;
        Some((self.subjects.get(other)?, kind, member))
    }

    /// Looks for what this node shares with others.
    pub(super) fn check(&self, subject: &Subject, index: usize, found: &mut Vec<Difference>) {
        for (kind, claim) in subject.node.claims() {
            if let Some(eui) = claim.dev_eui {
                let all = self.by_dev_eui.get(&(kind, eui.0));
                self.shared_eui(subject, index, kind, eui.0, all, found);
            }
            if let Some(addr) = claim.dev_addr {
                let all = self.by_dev_addr.get(&(kind, addr));
                self.shared_addr(subject, index, kind, addr, all, found);
            }
        }
        self.shared_keys(subject, index, found);
    }

    /// Returns the first of the other nodes, and what to call them all.
    fn others(&self, all: Option<&Vec<usize>>, index: usize) -> Option<(&'s Subject, String)> {
        let all = all?;
        let total = all.len().saturating_sub(usize::from(all.binary_search(&index).is_ok()));
        // each of many nodes names the first few, or all of them would cost their square
        let others: Vec<&Subject> = all
            .iter()
            .filter(|other| **other != index)
            .take(MOST_NAMES)
            .filter_map(|other| self.subjects.get(*other))
            .collect();
        let first = others.first().copied()?;
        let called: Vec<String> = others.iter().map(|node| node.node.name.clone()).collect();
        Some((first, names(&called, total)))
    }

    fn shared_eui(
        &self,
        subject: &Subject,
        index: usize,
        kind: ClaimKind,
        eui: Eui64,
        all: Option<&Vec<usize>>,
        found: &mut Vec<Difference>,
    ) {
        let Some((other, called)) = self.others(all, index) else { return };
        let summary = format!("{} of {called} has the same DevEUI", the(kind));
        let remedy = "give each node its own DevEUI, as its maker or its label says";
        let value = || Some(eui.to_string());
        found.push(
            Difference::new(
                DifferenceKind::DevEuiShared,
                Severity::Fault,
                "dev-eui",
                summary,
                remedy,
            )
            .cause(Some(CauseId::TwoNodesShareOneIdentity))
            .side(subject, kind, "dev-eui", value())
            .other(other, kind, "dev-eui", value()),
        );
    }

    fn shared_addr(
        &self,
        subject: &Subject,
        index: usize,
        kind: ClaimKind,
        addr: DevAddr,
        all: Option<&Vec<usize>>,
        found: &mut Vec<Difference>,
    ) {
        let Some((other, called)) = self.others(all, index) else { return };
        let session = |subject: &Subject| {
            let claim = subject.node.claim(kind)?;
            claim.nwk_s_key.as_ref().map(|k| k.key().clone())
        };
        let (own, theirs) = (session(subject), session(other));
        let same = own.zip(theirs).is_some_and(|(a, b)| a.same_as(&b));
        let what = if same { "DevAddr and NwkSKey" } else { "DevAddr" };
        let summary = format!("{} of {called} has the same {what}", the(kind));
        let (severity, remedy) = if same {
            (
                Severity::Fault,
                "give each node its own session: the counters of one shut out the other",
            )
        } else {
            (Severity::Note, "allowed: the server tells them apart by their keys, at some cost")
        };
        let value = || Some(addr.to_string());
        found.push(
            Difference::new(DifferenceKind::DevAddrShared, severity, "dev-addr", summary, remedy)
                .cause(same.then_some(CauseId::TwoNodesShareOneIdentity))
                .side(subject, kind, "dev-addr", value())
                .other(other, kind, "dev-addr", value()),
        );
    }

    /// One root key for many nodes works, so it is a note; and one note a group is enough.
    fn shared_keys(&self, subject: &Subject, index: usize, found: &mut Vec<Difference>) {
        let mut told: Vec<&Aes128Key> = Vec::new();
        let both = [&subject.node.record, &subject.node.firmware];
        for (member, key) in both.into_iter().flatten().flat_map(roots) {
            if told.iter().any(|known| known.same_as(key)) {
                continue;
            }
            told.push(key);
            // of a group whose records or whose firmware share it, the first tells
            let group = [ClaimKind::Record, ClaimKind::Firmware].into_iter().find_map(|kind| {
                let all = self.by_root.get(&(kind, KeyOctets::of(key)))?;
                let (_, sharing) = all.split_first().filter(|(first, _)| first.0 == index)?;
                let mut sharing: Vec<usize> = sharing.iter().map(|(node, _)| *node).collect();
                sharing.dedup();
                self.others(Some(&sharing), index).map(|(other, called)| (kind, other, called))
            });
            let Some((kind, other, called)) = group else { continue };
            let summary = format!("{called} has the same {}", spelt(member));
            let remedy = "it works, but who opens one node has them all: one key a node is better";
            found.push(
                Difference::new(DifferenceKind::KeyShared, Severity::Note, member, summary, remedy)
                    .side(subject, kind, member, None)
                    .other(other, kind, member, None),
            );
        }
    }
}

fn roots(claim: &Claim) -> impl Iterator<Item = (&'static str, &Aes128Key)> {
    slot::ROOTS.iter().filter_map(|slot| (slot.key)(claim).map(|key| (slot.member, key)))
}

/// Other nodes that are named.
const MOST_NAMES: usize = 8;
