//! Session keys that claims state: which of them the frames agree with, and how another differs.

use super::{Case, Story, payloads};
use crate::{
    crypto::{
        block::{self, BlockFields},
        derive::SessionKeys,
        mic,
    },
    explore::near_miss::{Clues, Known, KnownKind, Report, Target, search},
    fact::{Fact, Secret, fact},
    frame::DataFrame,
    key::Aes128Key,
    roster::{Claim, ClaimKind},
    trace::{Data, DataSeen, Origin},
};

/// Frames that a search is held against.
const FRAMES: usize = 4;
/// So many digits that differ are a typing error.
const TYPED: usize = 2;

/// A key of a claim that is not the one in use.
#[derive(Debug)]
pub(in crate::ladder) struct Wrong {
    /// The claim that states it.
    pub(in crate::ladder) claim: ClaimKind,
    /// Its name.
    pub(in crate::ladder) key: &'static str,
    pub(in crate::ladder) how: How,
    /// The claim whose key the frames agree with; none where it was searched.
    pub(in crate::ladder) right: Option<ClaimKind>,
    /// Frames that agree.
    pub(in crate::ladder) frames: usize,
    /// Candidates that were tried.
    pub(in crate::ladder) tried: f64,
}

/// How it is wrong.
#[derive(Debug)]
pub(in crate::ladder) enum How {
    /// By a typing error, as these words say.
    Typed(Fact),
    /// The key that is called by this name is in its place.
    Swapped(&'static str),
    /// In no way that a hand or a program makes of it.
    Unrelated,
}

impl Wrong {
    /// Returns what is wrong, in one sentence.
    pub(in crate::ladder) fn words(&self) -> Fact {
        let (claim, key) = (self.claim.name(), self.key);
        match &self.how {
            How::Typed(words) => fact!(
                "the {claim}'s {key} is a typing error away from the one in use: {difference}",
                claim,
                key,
                difference = words.clone()
            ),
            How::Swapped(other) => fact!(
                "the key that the {claim} calls {other} is the node's {key}: the two are swapped",
                claim,
                other = *other,
                key
            ),
            How::Unrelated => fact!(
                "the {claim}'s {key} is not the one in use, and does not resemble it",
                claim,
                key
            ),
        }
    }
}

/// The session keys that a claim states, with their names.
fn stated(claim: &Claim) -> Vec<(&'static str, &Aes128Key)> {
    let mut out = Vec::new();
    out.extend(claim.nwk_s_key.as_ref().map(|key| ("NwkSKey", key.key())));
    out.extend(claim.f_nwk_s_int_key.as_ref().map(|key| ("FNwkSIntKey", key.key())));
    out.extend(claim.s_nwk_s_int_key.as_ref().map(|key| ("SNwkSIntKey", key.key())));
    out.extend(claim.nwk_s_enc_key.as_ref().map(|key| ("NwkSEncKey", key.key())));
    out.extend(claim.app_s_key.as_ref().map(|key| ("AppSKey", key.key())));
    out
}

/// Digits that differ, counted from 1 at the left.
fn apart(a: &Aes128Key, b: &Aes128Key) -> Vec<u8> {
    let digits = |key: &Aes128Key| -> Vec<u8> {
        key.expose().iter().flat_map(|octet| [octet >> 4, octet & 0xF]).collect()
    };
    let (a, b) = (digits(a), digits(b));
    let pairs = (1_u8..).zip(a.iter().zip(&b));
    pairs.filter(|(_, (a, b))| a != b).map(|(place, _)| place).collect()
}

/// Says how a key differs from the right one; `None` where it does not resemble it.
fn typed(wrong: &Aes128Key, right: &Aes128Key) -> Option<Fact> {
    let places = apart(wrong, right);
    if places.is_empty() || places.len() > TYPED {
        return None;
    }
    let digit = |key: &Aes128Key, place: u8| {
        let octet = key.expose().get(usize::from(place - 1) / 2).copied().unwrap_or_default();
        let value = if place % 2 == 1 { octet >> 4 } else { octet & 0xF };
        char::from_digit(value.into(), 16).unwrap_or('?').to_string()
    };
    let shown = places
        .iter()
        .map(|place| {
            fact!(
                "digit {place} is {stated}, not {used}",
                place = *place,
                stated = digit(wrong, *place),
                used = digit(right, *place)
            )
        })
        .collect();
    let hidden =
        places.iter().map(|place| fact!("digit {place} differs", place = *place)).collect();
    Some(Secret::new(Fact::joined(shown, ", "), Fact::joined(hidden, ", ")).into())
}

/// The network keys of the record, held against those under which the node's frames verify.
pub(in crate::ladder) fn network_key(case: &Case<'_>, story: &Story<'_>) -> Option<Wrong> {
    let Origin::Claim(own) = story.session.origin else { return None };
    if story.session.uplinks().next().is_some() {
        by_claims(case, story, own)
    } else {
        by_search(case, story, own)
    }
}

/// The frames agree with one claim; another one states other keys for the same address.
fn by_claims(case: &Case<'_>, story: &Story<'_>, own: ClaimKind) -> Option<Wrong> {
    let (seen, _) = story.session.uplinks().next()?;
    let keys = story.session.candidate_of(seen)?.keys.named();
    let right = |name: &str| keys.iter().find(|(own, _)| *own == name).map(|(_, key)| *key);
    let entry = case.entry?;
    let frames = story.session.uplinks().count();
    for (kind, claim) in entry.claims().filter(|(kind, _)| *kind != own) {
        if claim.dev_addr.is_some_and(|addr| addr != story.session.dev_addr) {
            continue;
        }
        let stated = stated(claim);
        for (name, key) in stated.iter().filter(|(name, _)| *name != "AppSKey") {
            let Some(in_use) = right(name) else { continue };
            if key.same_as(in_use) {
                continue;
            }
            let swapped = stated.iter().find(|(other, k)| other != name && k.same_as(in_use));
            let how = match (swapped, typed(key, in_use)) {
                (Some((other, _)), _) => How::Swapped(other),
                (None, Some(words)) => How::Typed(words),
                (None, None) => How::Unrelated,
            };
            return Some(Wrong {
                claim: kind,
                key: name,
                how,
                right: Some(own),
                frames,
                tried: 1.0,
            });
        }
    }
    None
}

/// The frames of the address verify under no claim: what lies around the keys stated?
fn by_search(case: &Case<'_>, story: &Story<'_>, own: ClaimKind) -> Option<Wrong> {
    // Another claim's session has the frames, or a join began another one.
    let elsewhere = case.node.sessions.iter().any(|session| session.uplinks().next().is_some());
    if elsewhere || !case.node.attempts.is_empty() {
        return None;
    }
    let frames: Vec<&DataFrame> = case
        .node
        .unverified
        .iter()
        .filter(|data| data.heard().is_some())
        .map(Data::frame)
        .filter(|frame| frame.dev_addr == story.session.dev_addr)
        .collect();
    let first = *frames.first()?;
    let used: Vec<&DataFrame> = frames.iter().copied().take(FRAMES).collect();
    let wrong =
        |key, how, tried| Wrong { claim: own, key, how, right: None, frames: used.len(), tried };
    match &story.session.candidates.first()?.keys {
        SessionKeys::V1_0 { nwk_s_key, app_s_key } => {
            let all_hold = |key: &Aes128Key| used.iter().all(|frame| signs(key, frame));
            if app_s_key.as_ref().is_some_and(|key| all_hold(key.key())) {
                return Some(wrong("NwkSKey", How::Swapped("AppSKey"), 1.0));
            }
            let (report, words) = near(own, "NwkSKey", nwk_s_key.key(), &used);
            if let Some(words) = words {
                #[expect(clippy::cast_precision_loss, reason = "an estimate")]
                return Some(wrong("NwkSKey", How::Typed(words), report.tried() as f64));
            }
            Some(wrong("NwkSKey", How::Unrelated, 1.0))
        }
        SessionKeys::V1_1 { f_nwk_s_int_key, .. } => {
            let [.., a, b] = first.mic.0;
            let holds = mic::forwarding_half(f_nwk_s_int_key, first, first.fcnt.into()) == [a, b];
            Some(wrong(if holds { "SNwkSIntKey" } else { "FNwkSIntKey" }, How::Unrelated, 1.0))
        }
    }
}

fn signs(key: &Aes128Key, frame: &DataFrame) -> bool {
    mic::data_1_0(&key.clone().into(), frame, frame.fcnt.into()) == frame.mic
}

/// Searches around a key for one that signs the frames.
fn near(
    claim: ClaimKind,
    name: &'static str,
    key: &Aes128Key,
    frames: &[&DataFrame],
) -> (Report, Option<Fact>) {
    let known =
        Known { label: format!("the {}'s {name}", claim.name()), key, kind: KnownKind::Session };
    let clues = Clues { known: vec![known], ..Clues::default() };
    let target = |frame: &&DataFrame| {
        let mut msg = Vec::with_capacity(64);
        frame.put_signed(&mut msg);
        let place = BlockFields {
            direction: frame.direction(),
            dev_addr: frame.dev_addr,
            fcnt: frame.fcnt.into(),
        };
        let signed = [&block::b0(&place, 0, msg.len())[..], &msg].concat();
        Target { signed, mic: frame.mic }
    };
    let targets: Vec<Target> = frames.iter().map(target).collect();
    let report = search(&clues, &targets, &crate::explore::near_miss::Effort::default());
    let words = report.hits.first().map(|hit| {
        let shown = fact!("{how}", how = hit.sentence(&clues));
        Secret::new(shown, fact!("{how}", how = hit.sentence_by_places(&clues))).into()
    });
    (report, words)
}

/// The AppSKeys of two claims that agree on the network keys of a session.
pub(in crate::ladder) fn app_key(case: &Case<'_>, story: &Story<'_>) -> Option<Wrong> {
    let Origin::Claim(_) = story.session.origin else { return None };
    let frames: Vec<&DataSeen> = payloads::of(story);
    if frames.is_empty() {
        return None;
    }
    let (firmware, record) = (case.firmware()?, case.record()?);
    let (right, wrong) = (firmware.app_s_key.as_ref()?, record.app_s_key.as_ref()?);
    if right.key().same_as(wrong.key()) {
        return None;
    }
    // Two keys that are swapped are one mistake, and its name is another.
    if network_key(case, story).is_some_and(|wrong| matches!(wrong.how, How::Swapped(_))) {
        return None;
    }
    let how = typed(wrong.key(), right.key()).map_or(How::Unrelated, How::Typed);
    let frames = frames.len();
    let (claim, right) = (ClaimKind::Record, Some(ClaimKind::Firmware));
    Some(Wrong { claim, key: "AppSKey", how, right, frames, tried: 1.0 })
}
