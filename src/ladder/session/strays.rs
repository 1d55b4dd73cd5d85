//! Frames of addresses that belong to nobody on hand.

use super::{Case, Story};
use crate::{
    crypto::{derive::SessionKeys, mic},
    fact::{Cite, Fact, Value, fact},
    frame::DataFrame,
    id::{DevAddr, digits_apart},
    roster::ClaimKind,
    trace::{self, Data, Line, Origin, Sending},
};

/// So many digits that differ are a typing error.
const TYPED: u32 = 2;
/// Keys and counters that are tried on a downlink.
pub(in crate::ladder) const TRIED: f64 = 4.0;
/// Windows lie at complete seconds after the uplink, RxDelay 15 s at the most.
const FARTHEST_US: u32 = 16_000_000;
const SAME_US: u32 = 1_000;

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
        if same && digits_apart(stated.0.to_be_bytes(), used.0.to_be_bytes()) <= TYPED {
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
        if digits_apart(frame.dev_addr.0.to_be_bytes(), stated.0.to_be_bytes()) > TYPED
            || !signs(keys, frame)
        {
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
    trace::at_the_start(frame.fcnt).into_iter().any(|fcnt| match keys {
        SessionKeys::V1_0 { nwk_s_key, .. } => mic::data_1_0(nwk_s_key, frame, fcnt) == frame.mic,
        SessionKeys::V1_1 { f_nwk_s_int_key, .. } => {
            let crate::frame::Mic([.., a, b]) = frame.mic;
            mic::forwarding_half(f_nwk_s_int_key, frame, fcnt) == [a, b]
        }
    })
}

/// A downlink in one of a session's windows, signed with its keys, that carries nobody's address.
#[derive(Debug)]
pub(in crate::ladder) struct Misaddressed<'a> {
    pub(in crate::ladder) frame: &'a DataFrame,
    pub(in crate::ladder) sending: &'a Sending,
    /// The turn that it answers.
    pub(in crate::ladder) turn: usize,
    pub(in crate::ladder) fcnt: u32,
}

/// Returns the downlinks of nobody's address that are signed with a session's keys.
pub(in crate::ladder) fn misaddressed<'a>(
    case: &Case<'a>,
    story: &Story<'_>,
) -> Vec<Misaddressed<'a>> {
    let mut out = Vec::new();
    for data in &case.trace.strays {
        let Data::Down { frame, sending, .. } = data else { continue };
        let Some(turn) = answered(story, sending) else { continue };
        let asked = story.turns().get(turn).map(|turn| turn.fcnt).unwrap_or_default();
        let keys = || story.session.candidates.iter().map(|candidate| &candidate.keys);
        let holds = |fcnt: &u32| keys().any(|keys| signs_down(keys, frame, *fcnt, asked));
        if let Some(fcnt) = trace::at_the_start(frame.fcnt).into_iter().find(holds) {
            out.push(Misaddressed { frame, sending, turn, fcnt });
        }
    }
    out
}

/// The turn whose window a downlink is aimed at.
fn answered(story: &Story<'_>, sending: &Sending) -> Option<usize> {
    let hit = |place: &usize| {
        let Some(heard) = story.heard(*place) else { return false };
        heard.sightings().any(|sighting| {
            let us = sending.slot_after(sighting);
            let late = sending.arrival_after(sighting);
            us.is_some_and(|us| us <= FARTHEST_US && us % 1_000_000 < SAME_US)
                && late.is_none_or(|late| (0..=i64::from(FARTHEST_US)).contains(&late))
        })
    };
    story.turns().iter().rposition(|turn| turn.sent.iter().any(hit))
}

/// Whether session keys sign a downlink with the address that it carries.
fn signs_down(keys: &SessionKeys, frame: &DataFrame, fcnt: u32, asked: u32) -> bool {
    match keys {
        SessionKeys::V1_0 { nwk_s_key, .. } => mic::data_1_0(nwk_s_key, frame, fcnt) == frame.mic,
        SessionKeys::V1_1 { s_nwk_s_int_key, .. } => {
            let [lo, hi, ..] = asked.to_le_bytes();
            let conf_fcnt = if frame.fctrl.ack() { u16::from_le_bytes([lo, hi]) } else { 0 };
            mic::data_down_1_1(s_nwk_s_int_key, frame, fcnt, conf_fcnt) == frame.mic
        }
    }
}

/// Whether downlinks after a line may have been meant for the node and do not reach it, since their
/// address or their key is another: what is not answered has its reason there.
pub(in crate::ladder) fn went_astray(case: &Case<'_>, story: &Story<'_>, since: Line) -> bool {
    let unverified = case.node.unverified.iter().any(|data| {
        let own = data.heard().is_none() && data.frame().dev_addr == story.session.dev_addr;
        own && data.line() > since
    });
    unverified || misaddressed(case, story).iter().any(|down| down.sending.line > since)
}
