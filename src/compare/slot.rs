//! The keys of a claim: one table of roots, one of the session; and what one place has alike in two.

use super::{
    Difference, DifferenceKind, Severity, Subject, sample,
    words::{spelt, the},
};
use crate::{
    frame::MacVersion,
    key::Aes128Key,
    ladder::CauseId,
    roster::{Claim, ClaimKind},
};

/// A key of a claim.
pub(super) struct Slot {
    pub(super) member: &'static str,
    pub(super) key: fn(&Claim) -> Option<&Aes128Key>,
}

macro_rules! slots {
    ($($member:literal $field:ident;)*) => {
        [$(Slot { member: $member, key: |claim| claim.$field.as_ref().map(|key| key.key()) },)*]
    };
}

/// The keys that a join starts from.
pub(super) static ROOTS: [Slot; 2] = slots! {
    "app-key" app_key;
    "nwk-key" nwk_key;
};

/// The keys of a session.
pub(super) static SESSION: [Slot; 5] = slots! {
    "nwk-s-key" nwk_s_key;
    "app-s-key" app_s_key;
    "f-nwk-s-int-key" f_nwk_s_int_key;
    "s-nwk-s-int-key" s_nwk_s_int_key;
    "nwk-s-enc-key" nwk_s_enc_key;
};

/// Keys of packages.
pub(super) static GENERAL: [Slot; 1] = slots! {
    "gen-app-key" gen_app_key;
};

/// Returns every key that a claim has.
pub(super) fn all_of(claim: &Claim) -> impl Iterator<Item = (&'static str, &Aes128Key)> {
    ROOTS
        .iter()
        .chain(&GENERAL)
        .chain(&SESSION)
        .filter_map(|slot| (slot.key)(claim).map(|key| (slot.member, key)))
}

/// Returns the version that a node's claims have, the firmware's before the record's.
pub(super) fn version(subject: &Subject) -> Option<MacVersion> {
    let of = |claim: &Option<Claim>| claim.as_ref().and_then(|claim| claim.mac_version);
    of(&subject.node.firmware).or_else(|| of(&subject.node.record))
}

/// Looks at keys of one claim that should not be the same.
pub(super) fn within(
    subject: &Subject,
    kind: ClaimKind,
    claim: &Claim,
    found: &mut Vec<Difference>,
) {
    for root in &ROOTS {
        let Some(key) = (root.key)(claim) else { continue };
        let session = SESSION.iter().find(|s| (s.key)(claim).is_some_and(|k| k.same_as(key)));
        let Some(session) = session.filter(|_| sample::of_key(key).is_none()) else { continue };
        let (x, y) = (spelt(root.member), spelt(session.member));
        let summary = format!("{x} and {y} of {} are the same", the(kind));
        let remedy = format!("enter the root key as {x}: a session key comes out of a join");
        found.push(
            Difference::new(
                DifferenceKind::SessionKeyAsRoot,
                Severity::Fault,
                root.member,
                summary,
                remedy,
            )
            .cause(Some(CauseId::SessionKeyEnteredAsRootKey))
            .side(subject, kind, root.member, None)
            .side(subject, kind, session.member, None),
        );
    }
    let same = |a: Option<&Aes128Key>, b: Option<&Aes128Key>| {
        a.zip(b).is_some_and(|(a, b)| a.same_as(b) && sample::of_key(a).is_none())
    };
    let is_1_1 = version(subject) == Some(MacVersion::V1_1);
    let [app, nwk] = &ROOTS;
    let [nwk_s, app_s, ..] = &SESSION;
    for (one, other, matters) in [(app, nwk, is_1_1), (nwk_s, app_s, true)] {
        if matters && same((one.key)(claim), (other.key)(claim)) {
            let (x, y) = (spelt(one.member), spelt(other.member));
            let summary = format!("{x} and {y} of {} are the same", the(kind));
            let remedy = "allowed, but often one was copied into the other's place";
            found.push(
                Difference::new(
                    DifferenceKind::KeysEqual,
                    Severity::Note,
                    one.member,
                    summary,
                    remedy,
                )
                .side(subject, kind, one.member, None)
                .side(subject, kind, other.member, None),
            );
        }
    }
}
