//! FOpts of a 1.1 session that does not come out as MAC commands although the MICs hold.

use super::{
    Answer, Heard, Rule, Side, Subject,
    recipe::{Constant, FOptsRecipe, Recipe, Slot},
    search::{Hit, answer, search},
    session::both,
};
use crate::{
    crypto::{block, block::BlockFields, encrypt_block},
    frame::Direction,
    key::Aes128Key,
};

/// The frames of a 1.1 session and the keys under which their MICs hold.
#[derive(Clone, Copy)]
pub struct FOptsCase<'a> {
    /// NwkSEncKey.
    pub nwk_s_enc_key: &'a Aes128Key,
    /// FNwkSIntKey and SNwkSIntKey, which some put in its place; if they are known.
    pub integrity_keys: Option<[&'a Aes128Key; 2]>,
    /// The frames; those without FOpts do not count.
    pub frames: &'a [Heard<'a>],
    /// Whether octets are MAC commands of that direction, to the last octet.
    pub parses: &'a dyn Fn(&[u8], Direction) -> bool,
}

impl std::fmt::Debug for FOptsCase<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("FOptsCase").field("frames", &self.frames).finish_non_exhaustive()
    }
}

/// Looks for the rule by which FOpts was encrypted (LoRaWAN 1.1, 4.3.1.6, with the erratum of 26
/// January 2018, which is what counts as the standard here).
///
/// The right rule yields MAC commands in every frame of a direction. How often noise parses is
/// measured with the parser itself; too few octets give [`Answer::CannotTell`]. A rule that both
/// directions share is no fault between the two sides: the side says so.
pub fn explore_fopts(case: &FOptsCase<'_>) -> Answer {
    let up = explore_direction(case, Direction::Uplink);
    let down = explore_direction(case, Direction::Downlink);
    match (up, down) {
        (None, None) => Answer::CannotTell { why: "no frame with FOpts" },
        (Some(one), None) | (None, Some(one)) => one,
        (Some(up), Some(down)) => both(up, down),
    }
}

fn explore_direction(case: &FOptsCase<'_>, direction: Direction) -> Option<Answer> {
    let frames: Vec<&Heard<'_>> = case
        .frames
        .iter()
        .filter(|heard| heard.direction() == direction && !heard.frame.fopts.is_empty())
        .collect();
    if frames.is_empty() {
        return None;
    }
    let bits: Vec<f64> = frames.iter().map(|heard| bits(case, heard)).collect();
    let holds = |recipe: FOptsRecipe| -> Option<Hit> {
        let mut hit = Hit::default();
        for (heard, &bits) in frames.iter().zip(&bits) {
            let plain = turned(recipe, key(case, recipe.slot)?, heard);
            if !(case.parses)(&plain, direction) {
                return None;
            }
            hit.holds(bits, false, &plain);
        }
        Some(hit)
    };
    let standard = Recipe::standard(Rule::V1_1);
    if holds(standard.fopts).is_some() {
        return Some(Answer::StandardHolds);
    }
    let found = search(&[Subject::FOpts], standard, |recipe, tried| {
        *tried += 1;
        holds(recipe.fopts).into_iter().collect()
    });
    let side = match direction {
        Direction::Uplink => Side::Node,
        Direction::Downlink => Side::Server,
    };
    Some(answer(found, |_| side))
}

fn key<'a>(case: &FOptsCase<'a>, slot: Slot) -> Option<&'a Aes128Key> {
    match slot {
        Slot::NetworkEnc => Some(case.nwk_s_enc_key),
        Slot::Forwarding => case.integrity_keys.map(|[forwarding, _]| forwarding),
        Slot::Serving => case.integrity_keys.map(|[_, serving]| serving),
        Slot::App => None,
    }
}

/// Returns FOpts turned by a recipe.
pub(super) fn turned(recipe: FOptsRecipe, key: &Aes128Key, heard: &Heard<'_>) -> Vec<u8> {
    let mut out = heard.frame.fopts.octets().to_vec();
    if recipe.clear {
        return out;
    }
    let app_counter =
        heard.direction() == Direction::Downlink && heard.frame.port().is_some_and(|port| port > 0);
    let constant = match recipe.constant {
        Constant::Zero => 0,
        Constant::ByCounter if app_counter => 2,
        Constant::ByCounter | Constant::One => 1,
    };
    let dev_addr = heard.frame.dev_addr;
    let place = BlockFields { direction: heard.direction(), dev_addr, fcnt: heard.fcnt };
    let [first, _, _, _, _, rest @ .., _] = block::a(&place, recipe.last);
    let [c1, c2, c3, c4] = recipe.constant_order.of([constant, 0, 0, 0]);
    let mut block = [first, c1, c2, c3, c4, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, recipe.last];
    block.iter_mut().skip(5).zip(rest).for_each(|(out, octet)| *out = octet);
    out.iter_mut().zip(encrypt_block(key, block)).for_each(|(octet, key)| *octet ^= key);
    out
}

/// Strings of noise given to the parser, for each frame.
const NOISE: u16 = 1024;

/// Returns the bits by which as many octets of noise miss being MAC commands.
fn bits(case: &FOptsCase<'_>, heard: &Heard<'_>) -> f64 {
    let len = heard.frame.fopts.octets().len();
    let key = Aes128Key::new([0x6E; 16]);
    let parsed = (0..NOISE).filter(|&i| {
        let noise = encrypt_block(&key, u128::from(i).to_be_bytes());
        noise.get(..len).is_some_and(|noise| (case.parses)(noise, heard.direction()))
    });
    // One more than counted: what never happens in so many may happen in one more.
    let parsed = u16::try_from(parsed.count()).unwrap_or(NOISE).saturating_add(1);
    (f64::from(NOISE + 1) / f64::from(parsed)).log2()
}

#[cfg(test)]
mod tests;
