//! FRMPayload that does not come out sound although the MIC holds.

use super::{
    Answer, Finding, Heard, SessionCase, Side, Subject,
    data::counter,
    recipe::{PayloadRecipe, Recipe, Slot},
    search::{Fitting, Hit, MOST_ODDS, WEAK, answer, odds, search},
    table,
};
use crate::{
    crypto::{block, block::BlockFields, encrypt_block},
    frame::Direction,
    key::{Aes128Key, AppSKey},
};

/// What makes a plaintext sound. It is named, and never a matter of taste.
#[derive(Clone, Copy, Debug)]
pub enum Criterion<'a> {
    /// The plaintext is known: one for each frame, in their order.
    Known(&'a [&'a [u8]]),
    /// Printable ASCII, tabs and ends of lines.
    PrintableAscii,
    /// Triples of channel, type and value to the last octet; each type and the octets of its value.
    ChannelTypeValue(&'a [(u8, usize)]),
}

impl Criterion<'_> {
    /// Returns what a report calls it.
    pub const fn name(&self) -> &'static str {
        match self {
            Self::Known(_) => "the plaintext is the known one",
            Self::PrintableAscii => "the plaintext is printable ASCII",
            Self::ChannelTypeValue(_) => {
                "the plaintext parses as channel, type and value to its last byte"
            }
        }
    }

    fn is_sound(&self, index: usize, plain: &[u8]) -> bool {
        match self {
            Self::Known(known) => known.get(index).is_some_and(|known| *known == plain),
            Self::PrintableAscii => plain.iter().all(|octet| is_text(*octet)),
            Self::ChannelTypeValue(types) => {
                let mut rest = plain;
                while let [_, kind, after @ ..] = rest {
                    let Some(&(_, len)) = types.iter().find(|(known, _)| known == kind) else {
                        return false;
                    };
                    let Some(after) = after.get(len..) else { return false };
                    rest = after;
                }
                rest.is_empty()
            }
        }
    }

    /// Returns the bits by which so many octets of noise miss it.
    fn bits(&self, len: usize) -> f64 {
        let octets = f64::from(u32::try_from(len).unwrap_or(u32::MAX));
        match self {
            Self::Known(_) => 8.0 * octets,
            Self::PrintableAscii => {
                let text = (0..=u8::MAX).filter(|octet| is_text(*octet)).count();
                octets * (256.0 / f64::from(u32::try_from(text).unwrap_or(1))).log2()
            }
            Self::ChannelTypeValue(types) => {
                // chance[n]: that n octets of noise parse to the last one.
                let mut chance = vec![1.0];
                for n in 1..=len {
                    let last = types.iter().filter_map(|&(_, value)| {
                        chance.get(n.checked_sub(value.checked_add(2)?)?).copied()
                    });
                    let sum: f64 = last.sum();
                    chance.push(sum / 256.0);
                }
                -chance.last().copied().unwrap_or(1.0).log2()
            }
        }
    }
}

const fn is_text(octet: u8) -> bool {
    matches!(octet, b'\t' | b'\n' | b'\r' | b' '..=b'~')
}

/// Frames whose MIC holds, and what is wanted of their payloads.
#[derive(Clone, Copy, Debug)]
pub struct PayloadCase<'a> {
    /// The session; its `frames` are of one direction, and those without a payload on an
    /// application port do not count.
    pub session: SessionCase<'a>,
    /// AppSKey at hand: the record's.
    pub at_hand: Option<&'a AppSKey>,
    /// What a sound plaintext is.
    pub criterion: Criterion<'a>,
}

/// Looks for the AppSKey, or the misread cipher, under which every payload is sound.
///
/// Where the join's own AppSKey does it and the one at hand does not, the one at hand is out of
/// step, and that is the server's; what it was derived from instead is named if it is known.
pub fn explore_payload(case: &PayloadCase<'_>) -> Answer {
    let frames: Vec<(usize, &Heard<'_>)> = case
        .session
        .frames
        .iter()
        .enumerate()
        .filter(|(_, heard)| heard.frame.payload.as_ref().is_some_and(|p| p.port > 0))
        .collect();
    let Some((_, one)) = frames.first() else {
        return Answer::CannotTell { why: "no frame with an application payload" };
    };
    let standard = Recipe::standard(case.session.rule());
    let sound = |recipe: PayloadRecipe, key: Option<&Aes128Key>, hit: &dyn Fn() -> Hit| {
        // Nearly every candidate fails in the first block of the first frame.
        if !begins_sound(&case.criterion, recipe, key, one) {
            return None;
        }
        let mut hit = hit();
        for (index, heard) in &frames {
            let plain = turned(recipe, key, heard)?;
            if !case.criterion.is_sound(*index, &plain) {
                return None;
            }
            hit.holds(case.criterion.bits(plain.len()), false, &plain);
        }
        Some(hit)
    };
    let at_hand = case.at_hand.map(AppSKey::key);
    if at_hand.is_some_and(|key| sound(standard.payload, Some(key), &Hit::default).is_some()) {
        return Answer::StandardHolds;
    }
    let values = case.session.values();
    let sources = case.session.sources(&values);
    let mut tried = 0;
    let mut own: Option<Hit> = None;
    sources.each_in(&standard.keys, Slot::App, |key, hit| {
        tried += 1;
        own = own.take().or_else(|| sound(standard.payload, key, hit));
    });
    if let Some(hit) = own {
        let Some(at_hand) = at_hand else { return Answer::StandardHolds };
        return out_of_step(case, at_hand, &hit, tried);
    }
    let found = search(&[Subject::Keys, Subject::Payload], standard, |recipe, tried| {
        let mut hits = Vec::new();
        sources.each_in(&recipe.keys, recipe.payload.slot, |key, hit| {
            *tried += 1;
            hits.extend(sound(recipe.payload, key, hit));
        });
        hits
    });
    let side = match one.direction() {
        Direction::Uplink => Side::Node,
        Direction::Downlink => Side::Server,
    };
    answer(found, |_| side)
}

/// The join's own AppSKey is the right one: where does the one at hand come from?
fn out_of_step(case: &PayloadCase<'_>, at_hand: &Aes128Key, hit: &Hit, tried: u64) -> Answer {
    let recorded = super::Recorded { key: at_hand, slot: Slot::App };
    let chance = odds(tried, hit.bits);
    if chance > MOST_ODDS {
        return Answer::CannotTell { why: WEAK };
    }
    let mut found: Vec<Finding> = match super::explore_record(&case.session, &[recorded]) {
        Answer::Misread(findings) => findings,
        _ => Vec::new(),
    };
    for finding in &mut found {
        finding.held = hit.held;
        finding.decided_by = hit.decided_by;
        finding.odds = finding.odds.max(chance);
    }
    if !found.is_empty() {
        return Answer::Misread(found);
    }
    let unknown = table::rows().filter(|row| row.id == "app-s-key-of-another-time");
    let hits = unknown.map(|row| (vec![row], hit.clone())).collect();
    answer(Fitting { hits, tried }, |_| Side::Server)
}

/// Whether the first block of a frame may be the beginning of a sound plaintext.
fn begins_sound(
    criterion: &Criterion<'_>,
    recipe: PayloadRecipe,
    key: Option<&Aes128Key>,
    heard: &Heard<'_>,
) -> bool {
    let Criterion::PrintableAscii = criterion else { return true };
    let Some(payload) = &heard.frame.payload else { return false };
    let stream = match (recipe.clear, key) {
        (true, _) => [0; 16],
        (false, Some(key)) => stream_block(recipe, key, heard, recipe.first_block),
        (false, None) => return false,
    };
    payload.frm.iter().zip(stream).all(|(octet, key)| is_text(octet ^ key))
}

/// Returns FRMPayload turned by a recipe.
pub(super) fn turned(
    recipe: PayloadRecipe,
    key: Option<&Aes128Key>,
    heard: &Heard<'_>,
) -> Option<Vec<u8>> {
    let mut out = heard.frame.payload.as_ref()?.frm.clone();
    if recipe.clear {
        return Some(out);
    }
    let key = key?;
    for (i, chunk) in (recipe.first_block..=u8::MAX).zip(out.chunks_mut(16)) {
        let stream = stream_block(recipe, key, heard, i);
        chunk.iter_mut().zip(stream).for_each(|(octet, key)| *octet ^= key);
    }
    Some(out)
}

fn stream_block(recipe: PayloadRecipe, key: &Aes128Key, heard: &Heard<'_>, i: u8) -> [u8; 16] {
    let direction = match (heard.direction(), recipe.dir_inverted) {
        (Direction::Uplink, false) | (Direction::Downlink, true) => Direction::Uplink,
        (Direction::Downlink, false) | (Direction::Uplink, true) => Direction::Downlink,
    };
    let fcnt = counter(heard.fcnt, recipe.low_half);
    let place = BlockFields { direction, dev_addr: heard.frame.dev_addr, fcnt };
    encrypt_block(key, block::a(&place, i))
}

#[cfg(test)]
mod tests;
