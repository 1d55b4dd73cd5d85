//! Sub-bands held against the channel plan that they are of.

use std::ops::Range;

use super::{FaultKind, Walk, unread_without};
use crate::roster::{ClaimKind, Roster};

/// A sub-band that the file states, and where.
pub(super) struct Band {
    span: Range<usize>,
    member: String,
    whose: Whose,
}

enum Whose {
    Roster,
    Claim(usize, ClaimKind),
    Gateway(usize),
}

impl Band {
    pub(super) fn of_roster(span: Range<usize>) -> Self {
        Self { span, member: "sub-band".to_owned(), whose: Whose::Roster }
    }

    pub(super) fn of_claim(span: Range<usize>, claim: &str, node: usize, kind: ClaimKind) -> Self {
        Self { span, member: format!("{claim}.sub-band"), whose: Whose::Claim(node, kind) }
    }

    pub(super) fn of_gateway(span: Range<usize>, gateway: &str, index: usize) -> Self {
        Self { span, member: format!("{gateway}.sub-band"), whose: Whose::Gateway(index) }
    }
}

impl Walk<'_> {
    /// Takes back each sub-band that its plan does not have. A plan without sub-bands makes no use of
    /// one, whatever its number.
    pub(super) fn check_bands(&mut self, roster: &mut Roster) {
        for band in std::mem::take(&mut self.bands) {
            let plan = match band.whose {
                Whose::Roster => roster.region,
                Whose::Gateway(index) => {
                    roster.gateways.get(index).and_then(|gateway| gateway.region).or(roster.region)
                }
                Whose::Claim(index, kind) => roster.nodes.get(index).and_then(|node| {
                    let own = node.claim(kind).and_then(|claim| claim.region);
                    own.or_else(|| roster.plan_for(node))
                }),
            };
            let most = plan.map_or(0, |plan| plan.sub_bands);
            let (sub_band, unread) = match band.whose {
                Whose::Roster => (&mut roster.sub_band, &mut roster.unread),
                Whose::Gateway(index) => match roster.gateways.get_mut(index) {
                    Some(gateway) => (&mut gateway.sub_band, &mut gateway.unread),
                    None => continue,
                },
                Whose::Claim(index, kind) => {
                    let node = roster.nodes.get_mut(index);
                    match node.and_then(|node| node.claim_mut(kind).as_mut()) {
                        Some(claim) => (&mut claim.sub_band, &mut claim.unread),
                        None => continue,
                    }
                }
            };
            if most > 0 && sub_band.is_some_and(|sub_band| sub_band > most) {
                *sub_band = None;
                unread_without(unread, "sub-band", false);
                let kind = FaultKind::OutOfRange { least: 1, most: most.into() };
                self.fault(&band.member, &band.span, kind);
            }
        }
    }
}
