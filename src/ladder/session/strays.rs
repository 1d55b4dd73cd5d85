//! Frames of addresses that belong to nobody on hand.

use super::{Case, Story};
use crate::{
    crypto::{derive::SessionKeys, mic},
    fact::{Cite, Fact, Value, fact},
    frame::DataFrame,
    id::DevAddr,
    roster::ClaimKind,
    trace::{Data, Origin},
};

/// So many digits that differ are a typing error.
const TYPED: u32 = 2;
/// Upper halves of the counter that are tried.
const UPPER_HALVES: u32 = 2;

/// An address that is a typing error away from the one that a claim states.
#[derive(Debug)]
pub(in crate::ladder) struct Typed {
    /// The claim that states it.
    pub(in crate::ladder) claim: ClaimKind,
    pub(in crate::ladder) stated: DevAddr,
    /// The address that the node uses.
    pub(in crate::ladder) used: DevAddr,
    /// Uplinks that verify.
    pub(in crate::ladder) frames: Vec<Cite>,
}

impl Typed {
    pub(in crate::ladder) fn words(&self) -> Fact {
        fact!(
            "{uplinks} of DevAddr {dev_addr} verify under the session's keys; the {claim} states \
             {stated_dev_addr}",
            uplinks = Value::Count(self.frames.len() as u64, "uplink"),
            dev_addr = self.used,
            claim = self.claim.name(),
            stated_dev_addr = self.stated
        )
    }
}

/// Returns how many of eight digits differ.
fn digits_apart(a: DevAddr, b: DevAddr) -> u32 {
    let differ = a.0 ^ b.0;
    (0..8).filter(|place| differ >> (4 * place) & 0xF != 0).count().try_into().unwrap_or(8)
}

/// Returns the address that a claim has wrong: the keys fit, and it does not.
pub(in crate::ladder) fn address_typed_wrong(case: &Case<'_>, story: &Story<'_>) -> Option<Typed> {
    let Origin::Claim(own) = story.session.origin else { return None };
    by_claims(case, story, own).or_else(|| by_strays(case, story, own))
}

/// The node uses the address of one claim, and another one with the same keys states another address.
fn by_claims(case: &Case<'_>, story: &Story<'_>, own: ClaimKind) -> Option<Typed> {
    let used = story.session.dev_addr;
    let frames: Vec<Cite> =
        story.session.uplinks().map(|(seen, _)| Cite::from(seen).with_time()).collect();
    if frames.is_empty() {
        return None;
    }
    let other = |kind: ClaimKind| {
        let all = case.node.sessions.iter();
        all.into_iter().find(|session| session.origin == Origin::Claim(kind))
    };
    let keys = |keys: &SessionKeys| -> Vec<[u8; 16]> {
        let named = keys.named();
        let network = named.iter().filter(|(name, _)| *name != "AppSKey");
        network.map(|(_, key)| *key.expose()).collect()
    };
    for (kind, claim) in case.entry?.claims().filter(|(kind, _)| *kind != own) {
        let Some(stated) = claim.dev_addr.filter(|addr| *addr != used) else { continue };
        let Some(session) = other(kind) else { continue };
        let same = session
            .candidates
            .first()
            .zip(story.session.candidates.first())
            .is_some_and(|(a, b)| keys(&a.keys) == keys(&b.keys));
        if same && digits_apart(stated, used) <= TYPED {
            return Some(Typed { claim: kind, stated, used, frames });
        }
    }
    None
}

/// Frames of another address verify under the keys that the claim states.
fn by_strays(case: &Case<'_>, story: &Story<'_>, own: ClaimKind) -> Option<Typed> {
    let heard = case.node.sessions.iter().any(|session| session.uplinks().next().is_some());
    if heard || !case.node.attempts.is_empty() {
        return None;
    }
    let stated = story.session.dev_addr;
    let keys = &story.session.candidates.first()?.keys;
    let mut found: Option<(DevAddr, Vec<Cite>)> = None;
    for data in &case.trace.strays {
        let Data::Up { frame, .. } = data else { continue };
        if digits_apart(frame.dev_addr, stated) > TYPED || !signs(keys, frame) {
            continue;
        }
        let cite = Cite::from(data).with_time();
        match &mut found {
            Some((used, frames)) if *used == frame.dev_addr => frames.push(cite),
            Some(_) => {}
            None => found = Some((frame.dev_addr, vec![cite])),
        }
    }
    let (used, frames) = found?;
    Some(Typed { claim: own, stated, used, frames })
}

/// Whether session keys sign an uplink with the address that it carries; of 1.1 half of the MIC.
fn signs(keys: &SessionKeys, frame: &DataFrame) -> bool {
    let mut counters = (0..UPPER_HALVES).map(|high| high << 16 | u32::from(frame.fcnt));
    counters.any(|fcnt| match keys {
        SessionKeys::V1_0 { nwk_s_key, .. } => mic::data_1_0(nwk_s_key, frame, fcnt) == frame.mic,
        SessionKeys::V1_1 { f_nwk_s_int_key, .. } => {
            let crate::frame::Mic([.., a, b]) = frame.mic;
            mic::forwarding_half(f_nwk_s_int_key, frame, fcnt) == [a, b]
        }
    })
}
