//! Channels, data rates and frames on the air.

use super::dice::Dice;
use crate::{
    frame::{CfList, Direction},
    radio::{Modulation, time_on_air},
    region::{DefaultChannels, JoinChannels, JoinFit, Plan, PlanKind},
};

/// A channel that a node may use, as it numbers it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Channel {
    pub(super) number: u16,
    pub(super) hz: u32,
    dr_min: u8,
    dr_max: u8,
}

impl Channel {
    pub(super) const fn new(number: u16, hz: u32, dr_min: u8, dr_max: u8) -> Self {
        Self { number, hz, dr_min, dr_max }
    }

    pub(super) const fn takes(self, dr: u8) -> bool {
        self.dr_min <= dr && dr <= self.dr_max
    }
}

/// A frame on the air.
#[derive(Clone, Debug)]
pub(super) struct OnAir {
    pub(super) octets: Vec<u8>,
    pub(super) hz: u32,
    pub(super) modulation: Modulation,
    /// When it ends.
    pub(super) ends: u64,
}

impl OnAir {
    pub(super) fn new(
        octets: Vec<u8>,
        channel: Channel,
        modulation: Modulation,
        starts: u64,
    ) -> Self {
        let air = microseconds(modulation, octets.len(), Direction::Uplink);
        Self { octets, hz: channel.hz, modulation, ends: starts + air }
    }
}

/// Returns how long a frame is on the air.
pub(super) fn microseconds(modulation: Modulation, octets: usize, direction: Direction) -> u64 {
    let air = time_on_air(modulation, octets, direction).unwrap_or_default();
    u64::try_from(air.as_micros()).unwrap_or_default()
}

/// Returns the join channels of a plan, those of one sub-band where there are any.
pub(super) fn join_channels(plan: &Plan, sub_band: Option<u8>) -> Vec<Channel> {
    match plan.join.channels {
        JoinChannels::Listed(list) => list.iter().copied().map(from_list).collect(),
        JoinChannels::AnyUplink(_) => uplink_channels(plan, sub_band),
        JoinChannels::Common { table, .. } => table
            .iter()
            .filter(|c| c.plan == plan.name)
            .map(|c| Channel { number: u16::from(c.index), hz: c.uplink_hz, dr_min: 0, dr_max: 5 })
            .collect(),
    }
}

/// Returns the join data rates that a plan allows on some channel and answers in RX1.
pub fn join_rates(plan: &Plan) -> Vec<u8> {
    let channels = join_channels(plan, None);
    let goes = |dr: &u8| {
        let Some(m) = plan.dr(Direction::Uplink, *dr) else { return false };
        channels.iter().any(|c| fits(plan, *c, m))
    };
    plan.join.data_rates.iter().copied().filter(goes).collect()
}

/// Returns a join channel for that data rate, and its modulation.
pub(super) fn join_place(
    plan: &Plan,
    channels: &[Channel],
    dr: u8,
    dice: &mut Dice,
) -> Option<(Channel, Modulation)> {
    let modulation = plan.dr(Direction::Uplink, dr)?;
    let fitting: Vec<Channel> =
        channels.iter().copied().filter(|c| fits(plan, *c, modulation)).collect();
    Some((dice.pick(&fitting)?, modulation))
}

fn fits(plan: &Plan, channel: Channel, modulation: Modulation) -> bool {
    matches!(plan.join_fit(channel.hz, modulation), JoinFit::Fits { .. })
        && plan.join_rx1(channel.hz, modulation).is_some()
}

/// Returns a LoRa data rate that a channel takes, but no join.
pub(super) fn unlawful_join_rate(plan: &Plan) -> Option<(Channel, Modulation)> {
    let channels = join_channels(plan, None);
    (0..16)
        .filter(|dr| !plan.join.data_rates.contains(dr))
        .filter_map(|dr| plan.dr(Direction::Uplink, dr))
        .filter(|m| matches!(m, Modulation::Lora { .. }))
        .find_map(|m| {
            let wrong = |c: &&Channel| matches!(plan.join_fit(c.hz, m), JoinFit::WrongRate { .. });
            channels.iter().find(wrong).map(|c| (*c, m))
        })
}

const fn from_list(c: crate::region::Channel) -> Channel {
    Channel { number: c.number, hz: c.freq_hz, dr_min: c.dr_min, dr_max: c.dr_max }
}

/// Returns the uplink channels of a fixed plan, those of one sub-band where it has any.
pub(super) fn uplink_channels(plan: &Plan, sub_band: Option<u8>) -> Vec<Channel> {
    let wanted = sub_band.map(|b| plan.sub_band_channels(b)).filter(|list| !list.is_empty());
    let numbers = wanted.unwrap_or_else(|| plan.channels());
    numbered(plan, &numbers)
}

/// Returns the channels of those numbers of a fixed plan.
pub(super) fn numbered(plan: &Plan, numbers: &[u16]) -> Vec<Channel> {
    numbers
        .iter()
        .filter_map(|&number| {
            let block = plan.uplink_blocks.iter().find(|b| b.contains(number))?;
            let hz = block.frequency(number)?;
            Some(Channel { number, hz, dr_min: block.dr_min, dr_max: block.dr_max })
        })
        .collect()
}

/// Returns the channels that a node knows before it joins.
pub(super) fn default_channels(plan: &Plan, sub_band: Option<u8>) -> Vec<Channel> {
    match plan.default_channels {
        DefaultChannels::Listed(list) => list.iter().copied().map(from_list).collect(),
        DefaultChannels::AllUplink(_) => uplink_channels(plan, sub_band),
    }
}

/// Returns five frequencies for a CFList of type 0, or none where the plan takes no such list.
pub(super) fn further_frequencies(plan: &Plan) -> Vec<u32> {
    if plan.kind != PlanKind::Dynamic || plan.cflist.frequencies.is_none() {
        return Vec::new();
    }
    let (low, high) = plan.centre_range_hz.unwrap_or(plan.range_hz);
    let grid = (low + 300_000..high.saturating_sub(200_000)).step_by(200_000);
    let legal = plan.legal_channels.iter().map(|c| c.freq_hz);
    let all: Vec<u32> =
        if plan.legal_channels.is_empty() { grid.collect() } else { legal.collect() };
    let apart =
        |hz: &u32| plan.listed_channels().iter().all(|c| c.freq_hz.abs_diff(*hz) >= 150_000);
    // Those just below the default channels, as most networks have it; then those above.
    let first = plan.listed_channels().first().map_or(high, |c| c.freq_hz);
    let below = all.iter().copied().rev().filter(|hz| *hz < first);
    let above = all.iter().copied().filter(|hz| *hz >= first);
    let mut chosen: Vec<u32> = below.chain(above).filter(apart).take(5).collect();
    chosen.sort_unstable();
    chosen
}

/// Returns the channels that a CFList of frequencies adds.
pub(super) fn added_channels(plan: &Plan, list: CfList) -> Vec<Channel> {
    let Some(rule) = plan.cflist.frequencies else { return Vec::new() };
    let like = plan.listed_channels().first();
    let (dr_min, dr_max) = like.map_or((0, 5), |c| (c.dr_min, c.dr_max));
    (u16::from(rule.first_channel)..)
        .zip(list.frequencies())
        .filter(|(_, hz)| *hz > 0)
        .map(|(number, hz)| Channel { number, hz, dr_min, dr_max })
        .collect()
}

/// Whether a session of the plan begins without a limit of dwell time.
fn begins_unlimited(plan: &Plan) -> bool {
    plan.dwell.uplink_ms == 0 || plan.dwell.downlink_ms > 0
}

/// Returns a channel and a LoRa data rate for data that RX1 can answer.
pub(super) fn data_place(
    plan: &Plan,
    channels: &[Channel],
    dice: &mut Dice,
) -> Option<(Channel, Modulation)> {
    // A channel without such a data rate is passed over.
    (0..32).find_map(|_| {
        let channel = dice.pick(channels)?;
        let rates: Vec<Modulation> = (channel.dr_min..=channel.dr_max)
            .filter_map(|dr| plan.dr(Direction::Uplink, dr))
            .filter(|m| matches!(m, Modulation::Lora { .. }))
            .filter(|m| plan.rx1(channel.hz, *m, 0, false).is_some())
            .filter(|m| begins_unlimited(plan) || microseconds(*m, 23, Direction::Uplink) < 400_000)
            .collect();
        Some((channel, dice.pick(&rates)?))
    })
}
