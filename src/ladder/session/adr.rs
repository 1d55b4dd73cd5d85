//! What ADR did to a node's margin.

use super::{Story, losses};
use crate::{
    frame::Direction,
    radio::{Modulation, demodulation_floor},
    trace::settings::{Exchange, Fate},
};

/// Uplinks before a request from which its margin is taken.
const BEFORE: usize = 10;
/// A margin below this is near or below the floor, dB.
const THIN_DB: f32 = 3.0;

/// A LinkADRReq that left too little margin.
#[derive(Clone, Copy, Debug)]
pub(in crate::ladder) struct Step<'s> {
    pub(in crate::ladder) exchange: &'s Exchange,
    /// The turn after whose uplink it was sent.
    pub(in crate::ladder) turn: usize,
    /// The margin before, dB.
    pub(in crate::ladder) before: f32,
    /// The margin after, as computed, dB.
    pub(in crate::ladder) after: f32,
    /// The data rates, before and after.
    pub(in crate::ladder) rates: (Modulation, Modulation),
}

fn floor(rate: Modulation) -> Option<f32> {
    match rate {
        Modulation::Lora { sf, .. } => demodulation_floor(sf),
        Modulation::Fsk { .. } | Modulation::LrFhss { .. } => None,
    }
}

/// Returns the last LinkADRReq that the node took, or may have taken, and that takes its margin away.
pub(in crate::ladder) fn step<'s>(story: &'s Story<'_>) -> Option<Step<'s>> {
    let plan = story.plan?;
    let all = story.settings.exchanges.iter().rev();
    let exchange = all
        .filter(|exchange| exchange.name() == "LinkADRReq")
        .find(|exchange| matches!(exchange.fate, Fate::Taken(_) | Fate::Open))?;
    let turn = exchange.turn?;
    let request = exchange.requests.last()?;
    let old = losses::rate(story, turn)?;
    let dr = request.number("DataRate").and_then(|dr| u8::try_from(dr).ok())?;
    let new = if dr == 15 { old } else { plan.dr(Direction::Uplink, dr)? };
    let power = request.number("TXPower").and_then(|power| u8::try_from(power).ok())?;
    let had = story.at(turn).power.value().copied().unwrap_or_default();
    let steps = if power == 15 { 0 } else { i16::from(power) - i16::from(had) };
    let margins = losses::margins(story, (turn + 1).saturating_sub(BEFORE), turn);
    let before = losses::median(&margins)?;
    let slower = floor(new)? - floor(old)?;
    let weaker = f32::from(steps) * f32::from(plan.power.step_db);
    let after = before - slower - weaker;
    (after < THIN_DB && after < before).then_some(Step {
        exchange,
        turn,
        before,
        after,
        rates: (old, new),
    })
}
