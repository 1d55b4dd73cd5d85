//! Values that the version and the activation need and that a place does not state.
//!
//! A claim may be told in part, so that a missing value is a doubt at most.

use super::{
    Difference, DifferenceKind, Severity, Subject, slot,
    words::{spelt, the},
};
use crate::{
    frame::MacVersion,
    roster::{Activation, Claim, ClaimKind},
};

pub(super) fn check(subject: &Subject, found: &mut Vec<Difference>) {
    let version = slot::version(subject);
    let otaa = is_otaa(subject);
    for (kind, claim) in subject.node.claims() {
        if kind == ClaimKind::Label {
            continue;
        }
        let Some(otaa) = otaa else { continue };
        let wanted: &[&'static str] = match (otaa, version) {
            (true, Some(MacVersion::V1_1)) => &["dev-eui", "join-eui", "nwk-key", "app-key"],
            (true, _) => &["dev-eui", "join-eui", "app-key"],
            (false, Some(MacVersion::V1_1)) => {
                &["dev-addr", "f-nwk-s-int-key", "s-nwk-s-int-key", "nwk-s-enc-key", "app-s-key"]
            }
            (false, _) => &["dev-addr", "nwk-s-key", "app-s-key"],
        };
        for member in wanted {
            if !has(claim, member) && !claim.is_unread(member) {
                found.extend(missing(subject, kind, claim, member, version));
            }
        }
    }
}

/// Returns how the node comes by its session, where its claims tell.
pub(super) fn is_otaa(subject: &Subject) -> Option<bool> {
    let claims = || subject.node.claims().map(|(_, claim)| claim);
    let stated = claims().find_map(|claim| claim.activation);
    stated.map(|activation| activation == Activation::Otaa).or_else(|| {
        let root = claims().any(|claim| claim.app_key.is_some() || claim.nwk_key.is_some());
        let session =
            claims().any(|claim| slot::SESSION.iter().any(|slot| (slot.key)(claim).is_some()));
        match (root, session) {
            (true, _) => Some(true),
            (false, true) => Some(false),
            (false, false) => None,
        }
    })
}

fn missing(
    subject: &Subject,
    kind: ClaimKind,
    claim: &Claim,
    member: &'static str,
    version: Option<MacVersion>,
) -> Option<Difference> {
    // a 1.0.x node's one root key may be kept under the newer name
    if member == "app-key" && version != Some(MacVersion::V1_1) && claim.nwk_key.is_some() {
        return None;
    }
    let elsewhere = subject
        .node
        .claims()
        .find(|(other, said)| *other != kind && has(said, member))
        .map(|(other, _)| other);
    let name = spelt(member);
    let why = match (member, version) {
        ("nwk-key", _) => "LoRaWAN 1.1 signs joins with it".to_owned(),
        ("app-key", Some(MacVersion::V1_1)) => "LoRaWAN 1.1 derives AppSKey from it".to_owned(),
        ("app-key", Some(version)) => {
            format!("LoRaWAN {} signs joins with it", version.name())
        }
        ("app-key", None) => "a join of LoRaWAN 1.0.x is signed with it".to_owned(),
        ("dev-eui" | "join-eui", _) => "every Join-Request carries it".to_owned(),
        _ => "a session by personalisation needs it".to_owned(),
    };
    // an EUI may be the chip's own, and two places that say nothing may both be told in part
    let firmware_eui = kind == ClaimKind::Firmware && member.ends_with("eui");
    let severity = match elsewhere {
        Some(_) if !firmware_eui => Severity::Doubt,
        _ => Severity::Note,
    };
    let summary = format!("{} states no {name}", the(kind));
    let remedy = match elsewhere {
        Some(other) => format!("enter the {name} of {} there, if it is not", the(other)),
        None => format!("enter the {name} there, if it is not"),
    };
    Some(
        Difference::new(DifferenceKind::ValueMissing, severity, member, summary, remedy)
            .evidence([why])
            .side(subject, kind, member, None),
    )
}

fn has(claim: &Claim, member: &str) -> bool {
    match member {
        "dev-eui" => claim.dev_eui.is_some(),
        "join-eui" => claim.join_eui.is_some(),
        "dev-addr" => claim.dev_addr.is_some(),
        _ => slot::all_of(claim).any(|(name, _)| name == member),
    }
}
