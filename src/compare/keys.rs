//! Keys: slips, slots, session keys for root keys, keys of other nodes.
//!
//! No key is shown: a slip is told by the digits that differ, everything else in words.

use super::{
    Difference, DifferenceKind, Severity, Subject,
    fleet::Fleet,
    relation::{Relation, key_relation},
    sample,
    slot::{self, GENERAL, ROOTS, SESSION, Slot, version},
    words::{slip, spelt, the},
};
use crate::{
    explore::near_miss::{KnownKind, Nature, is_placeholder},
    frame::MacVersion,
    key::Aes128Key,
    ladder::{CauseId, hits},
    roster::{Claim, ClaimKind},
    trace::Role,
};

/// Returns whether firmware and record have a root key in common.
pub(super) fn same_root(subject: &Subject) -> bool {
    let Some((firmware, record)) = subject.node.firmware.as_ref().zip(subject.node.record.as_ref())
    else {
        return false;
    };
    ROOTS.iter().any(|slot| {
        let both = (slot.key)(firmware).zip((slot.key)(record));
        both.is_some_and(|(a, b)| a.same_as(b))
    })
}

pub(super) fn check(
    subject: &Subject,
    index: usize,
    fleet: &Fleet<'_>,
    found: &mut Vec<Difference>,
) {
    for (kind, claim) in subject.node.claims() {
        slot::within(subject, kind, claim, found);
    }
    let (Some(firmware), Some(record)) = (&subject.node.firmware, &subject.node.record) else {
        return;
    };
    let pair = Pair { subject, firmware, record, index, fleet };
    if pair.exchanged_roots(found) {
        return;
    }
    let mut roots = 0;
    for slot in &ROOTS {
        roots += usize::from(pair.slot(slot, true, found));
    }
    for slot in GENERAL.iter().chain(&SESSION) {
        pair.slot(slot, false, found);
    }
    if roots == 0 {
        pair.across(found);
    }
    pair.two_names(found);
}

struct Pair<'s> {
    subject: &'s Subject,
    firmware: &'s Claim,
    record: &'s Claim,
    index: usize,
    fleet: &'s Fleet<'s>,
}

impl Pair<'_> {
    /// Looks at one key that both sides have; says whether they have it.
    fn slot(&self, slot: &Slot, root: bool, found: &mut Vec<Difference>) -> bool {
        let (Some(a), Some(b)) = ((slot.key)(self.firmware), (slot.key)(self.record)) else {
            return false;
        };
        if !a.same_as(b) {
            let member = slot.member;
            let difference = self.explained(member, member, a, b, root);
            found.push(difference);
        }
        true
    }

    /// AppKey and NwkKey stand crosswise.
    fn exchanged_roots(&self, found: &mut Vec<Difference>) -> bool {
        let (Some(a), Some(b), Some(c), Some(d)) = (
            self.firmware.app_key.as_ref(),
            self.firmware.nwk_key.as_ref(),
            self.record.app_key.as_ref(),
            self.record.nwk_key.as_ref(),
        ) else {
            return false;
        };
        let crosswise = a.key().same_as(d.key()) && b.key().same_as(c.key());
        if !crosswise || a.key().same_as(b.key()) {
            return false;
        }
        let difference = Difference::new(
            DifferenceKind::KeyInWrongSlot,
            Severity::Fault,
            "app-key",
            "AppKey and NwkKey of the firmware are in each other's place in the record",
            "swap the two on one side",
        )
        .cause(Some(CauseId::RootKeyInTheWrongSlot));
        found.push(self.sides(difference, "app-key", "nwk-key"));
        true
    }

    /// Each side has one root key, and not under the same name.
    fn across(&self, found: &mut Vec<Difference>) {
        let only = |claim: &Claim| {
            let mut all =
                ROOTS.iter().filter_map(|s| (s.key)(claim).map(|key| (s.member, key.clone())));
            let first = all.next()?;
            all.next().is_none().then_some(first)
        };
        let (Some((one, a)), Some((other, b))) = (only(self.firmware), only(self.record)) else {
            return;
        };
        if one == other {
            return;
        }
        if !a.same_as(&b) {
            found.push(self.explained(one, other, &a, &b, true));
            return;
        }
        let (x, y) = (spelt(one), spelt(other));
        let is_1_1 = version(self.subject) == Some(MacVersion::V1_1);
        let severity = if is_1_1 { Severity::Fault } else { Severity::Doubt };
        let difference = Difference::new(
            DifferenceKind::KeyInWrongSlot,
            severity,
            other,
            format!("the firmware has as {x} what the record has as {y}"),
            format!(
                "keep it under one name on both sides, or set both alike if {x} is only a name"
            ),
        )
        .cause(Some(CauseId::RootKeyInTheWrongSlot))
        .evidence([if is_1_1 {
            "LoRaWAN 1.1 signs with NwkKey and gives AppKey other work".to_owned()
        } else {
            "LoRaWAN 1.0.x has one root key; stacks that carry both names sign with the one called \
             NwkKey, so it may be right"
                .to_owned()
        }]);
        found.push(self.sides(difference, one, other));
    }

    /// A 1.0.x node with two root keys, of which the record has the one called AppKey.
    fn two_names(&self, found: &mut Vec<Difference>) {
        let old = version(self.subject).is_some_and(|version| version != MacVersion::V1_1);
        let (Some(app), Some(nwk), Some(recorded), None) = (
            self.firmware.app_key.as_ref(),
            self.firmware.nwk_key.as_ref(),
            self.record.app_key.as_ref(),
            self.record.nwk_key.as_ref(),
        ) else {
            return;
        };
        if !old || !app.key().same_as(recorded.key()) || app.key().same_as(nwk.key()) {
            return;
        }
        let difference = Difference::new(
            DifferenceKind::KeyInWrongSlot,
            Severity::Doubt,
            "nwk-key",
            "the firmware has another NwkKey next to the AppKey that the record has",
            "set the node's NwkKey to the same value as its AppKey",
        )
        .cause(Some(CauseId::RootKeyInTheWrongSlot))
        .evidence(["a stack that carries both names signs a 1.0.x join with NwkKey".to_owned()]);
        found.push(self.sides(difference, "nwk-key", "app-key"));
    }

    /// Returns why two keys that should be the same are not.
    fn explained(
        &self,
        one: &'static str,
        other: &'static str,
        a: &Aes128Key,
        b: &Aes128Key,
        root: bool,
    ) -> Difference {
        let difference = self
            .wrong_slot(one, other, a, b)
            .filter(|_| root)
            .or_else(|| self.session_key(a, b).filter(|_| root))
            .or_else(|| self.of_another_node(a, b))
            .or_else(|| sample_on_one_side(one, a, b, root))
            .unwrap_or_else(|| by_relation(one, other, a, b, root));
        self.sides(difference, one, other)
    }

    fn sides(&self, difference: Difference, one: &'static str, other: &'static str) -> Difference {
        difference.side(self.subject, ClaimKind::Firmware, one, None).side(
            self.subject,
            ClaimKind::Record,
            other,
            None,
        )
    }

    fn wrong_slot(
        &self,
        one: &'static str,
        other: &'static str,
        a: &Aes128Key,
        b: &Aes128Key,
    ) -> Option<Difference> {
        let elsewhere = |claim: &Claim, own: &str, key: &Aes128Key| {
            ROOTS
                .iter()
                .filter(|slot| slot.member != own)
                .find(|slot| (slot.key)(claim).is_some_and(|k| k.same_as(key)))
                .map(|slot| slot.member)
        };
        let (side, has, holder, name) = elsewhere(self.record, other, a)
            .map(|member| (ClaimKind::Firmware, one, ClaimKind::Record, member))
            .or_else(|| {
                elsewhere(self.firmware, one, b)
                    .map(|member| (ClaimKind::Record, other, ClaimKind::Firmware, member))
            })?;
        let (x, y) = (spelt(has), spelt(name));
        let summary = format!("the {x} of {} is under {y} in {}", the(side), the(holder));
        let remedy = "put each root key under the same name on both sides";
        Some(
            Difference::new(DifferenceKind::KeyInWrongSlot, Severity::Fault, has, summary, remedy)
                .cause(Some(CauseId::RootKeyInTheWrongSlot)),
        )
    }

    fn session_key(&self, a: &Aes128Key, b: &Aes128Key) -> Option<Difference> {
        let among = |claim: &Claim, key: &Aes128Key| {
            SESSION
                .iter()
                .find(|slot| (slot.key)(claim).is_some_and(|k| k.same_as(key)))
                .map(|slot| slot.member)
        };
        let (root_of, session_of, member) = among(self.record, a)
            .map(|member| (ClaimKind::Firmware, ClaimKind::Record, member))
            .or_else(|| {
                among(self.firmware, b).map(|m| (ClaimKind::Record, ClaimKind::Firmware, m))
            })?;
        let summary = format!(
            "the root key of {} is the {} of {}",
            the(root_of),
            spelt(member),
            the(session_of)
        );
        let remedy = "enter the root key there: a session key comes out of a join, never goes in";
        let difference = Difference::new(
            DifferenceKind::SessionKeyAsRoot,
            Severity::Fault,
            "app-key",
            summary,
            remedy,
        );
        Some(difference.cause(Some(CauseId::SessionKeyEnteredAsRootKey)))
    }

    fn of_another_node(&self, a: &Aes128Key, b: &Aes128Key) -> Option<Difference> {
        let (side, (node, claim, member)) = self
            .fleet
            .other_with_key(a, self.index)
            .map(|other| (ClaimKind::Firmware, other))
            .or_else(|| {
                self.fleet.other_with_key(b, self.index).map(|other| (ClaimKind::Record, other))
            })?;
        let name = &node.node.name;
        let summary = format!(
            "the key of {} is the {} of another node, {name}, in {}",
            the(side),
            spelt(member),
            the(claim)
        );
        let remedy = format!("enter the key of {} there", self.subject.node.name);
        let difference = Difference::new(
            DifferenceKind::KeyOfAnotherNode,
            Severity::Fault,
            member,
            summary,
            remedy,
        );
        Some(difference.cause(Some(CauseId::KeyOfAnotherNode)))
    }
}

fn sample_on_one_side(
    member: &'static str,
    a: &Aes128Key,
    b: &Aes128Key,
    root: bool,
) -> Option<Difference> {
    let (side, other, what) = sample::of_key(a)
        .map(|what| (ClaimKind::Firmware, ClaimKind::Record, what))
        .or_else(|| sample::of_key(b).map(|what| (ClaimKind::Record, ClaimKind::Firmware, what)))?;
    let name = spelt(member);
    let summary =
        format!("the {name} of {} is {what}, the one of {} is not", the(side), the(other));
    let remedy = format!("enter the {name} of {} there", the(other));
    let cause = match side {
        ClaimKind::Firmware => Some(CauseId::FirmwareStillUsesASampleKey),
        ClaimKind::Record if is_placeholder(b) => Some(CauseId::RootKeyOnRecordIsAPlaceholder),
        ClaimKind::Record | ClaimKind::Label => None,
    };
    let cause = cause.filter(|_| root);
    Some(
        Difference::new(DifferenceKind::KeyIsSample, Severity::Fault, member, summary, remedy)
            .cause(cause),
    )
}

fn by_relation(
    one: &'static str,
    other: &'static str,
    a: &Aes128Key,
    b: &Aes128Key,
    root: bool,
) -> Difference {
    let relation = key_relation(a, b);
    let what = if one == other {
        format!("the {} of the firmware and of the record", spelt(one))
    } else {
        format!("{} of the firmware and {} of the record", spelt(one), spelt(other))
    };
    let how = slip(&relation, "the firmware", "the record", 32);
    let fault =
        |kind, summary, remedy: &str| Difference::new(kind, Severity::Fault, one, summary, remedy);
    let role = if one == "nwk-key" { Role::NwkKey } else { Role::AppKey };
    let difference = match &relation {
        Relation::Changed(_) if relation.nature() == Some(Nature::Transformed) => fault(
            DifferenceKind::KeyTransformed,
            format!("{what} are one key, changed: {how}"),
            "enter the key on both sides as its source has it, and look for the program that changes \
             it",
        ),
        Relation::Reversed | Relation::Changed(_) => fault(
            DifferenceKind::KeyReversed,
            format!("{what} are one key in two orders: {how}"),
            "enter the key in the order printed, most significant byte first, on both sides",
        ),
        Relation::FirstIsText | Relation::SecondIsText => fault(
            DifferenceKind::KeyTextAsOctets,
            format!("{what} differ: {how}"),
            "turn the 32 digits of the key into 16 bytes before they are used as a key",
        ),
        relation if relation.is_typing() => fault(
            DifferenceKind::KeyTypedWrong,
            format!("{what} are a typing error apart: {how}"),
            "look up where the key came from, and fix the side that is wrong",
        )
        .marks(relation.marks()),
        _ => fault(
            DifferenceKind::KeyDiffers,
            format!("{what} have no likeness"),
            "find out which one is out of date, and enter the other there",
        )
        .evidence([
            "tried: other orders, typing errors of up to three digits, moved digits, text as bytes, \
                    other slots, session keys, other nodes, samples"
                .to_owned(),
        ]),
    };
    let cause = match relation.nature() {
        Some(nature) => hits::root_key(nature, KnownKind::Claimed, role),
        None => CauseId::RootKeyUnrelated,
    };
    difference.cause(root.then_some(cause))
}
