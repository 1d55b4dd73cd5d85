//! How many uplinks reach a gateway, and with what margin.

use super::Story;
use crate::radio::Modulation;

/// Uplinks of a part of a session.
#[derive(Clone, Copy, Debug)]
pub(in crate::ladder) struct Losses {
    /// Uplinks that there were, by the counter.
    pub(in crate::ladder) sent: u32,
    /// Uplinks that came.
    pub(in crate::ladder) came: u32,
    /// The most that are missing in a row.
    pub(in crate::ladder) widest: u32,
}

impl Losses {
    /// Returns how many are missing.
    pub(in crate::ladder) const fn missing(&self) -> u32 {
        self.sent - self.came
    }
}

/// Returns the losses between two turns, both with them. What is missing before the first is not counted.
pub(in crate::ladder) fn between(story: &Story<'_>, from: usize, to: usize) -> Losses {
    let turns = story.turns().get(from..=to).unwrap_or_default();
    let mut losses = Losses { sent: 0, came: 0, widest: 0 };
    for (n, turn) in turns.iter().enumerate() {
        let missed = if n == 0 { 0 } else { turn.missed };
        losses.sent = losses.sent.saturating_add(missed).saturating_add(1);
        losses.came += 1;
        losses.widest = losses.widest.max(missed);
    }
    losses
}

/// Returns the margins above the demodulation floor between two turns, dB, at the gateway that heard best.
pub(in crate::ladder) fn margins(story: &Story<'_>, from: usize, to: usize) -> Vec<f32> {
    let turns = story.turns().get(from..=to).unwrap_or_default();
    let best = |place: usize| story.heard(place)?.best().margin();
    turns.iter().filter_map(|turn| best(turn.first())).collect()
}

/// Returns the middle of some values.
pub(in crate::ladder) fn median(values: &[f32]) -> Option<f32> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f32::total_cmp);
    sorted.get(sorted.len() / 2).copied()
}

/// Returns the odds that so many frames in a row are lost by chance, where as many are lost as of the
/// uplinks by the rule of succession, and one in ten at the least.
pub(in crate::ladder) fn odds(story: &Story<'_>, frames: usize) -> f64 {
    let last = story.turns().len().saturating_sub(1);
    let all = between(story, 0, last);
    let share = (f64::from(all.missing()) + 1.0) / (f64::from(all.sent) + 2.0);
    share.max(0.1).powf(u32::try_from(frames).map_or(1e3, f64::from))
}

/// Returns the modulation of a turn's uplink.
pub(in crate::ladder) fn rate(story: &Story<'_>, turn: usize) -> Option<Modulation> {
    let place = story.turns().get(turn)?.first();
    story.heard(place)?.best().modulation
}
