//! What follows from a plan's tables: channels, join channels, windows, limits.

use super::{
    Block, Channel, CommonJoin, DataRate, DefaultChannels, FixedList, Hop, JoinChannels, MasksOver,
    Megahertz, Plan, PlanKind, Revision, Rx1Channel, Rx1Row,
};
use crate::{
    frame::{Direction, MacVersion},
    id::DevAddr,
    radio::Modulation,
};

/// A channel and how far a frequency is from it.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct ChannelHit {
    /// The channel's number.
    pub channel: u16,
    /// The channel's frequency.
    pub freq_hz: u32,
    /// The frequency asked about, less the channel's.
    pub offset_hz: i64,
}

impl ChannelHit {
    fn of(channel: u16, freq_hz: u32, asked_hz: u32) -> Self {
        Self { channel, freq_hz, offset_hz: i64::from(asked_hz) - i64::from(freq_hz) }
    }

    /// Returns whether the frequency is the channel's, give or take a synthesiser step.
    pub fn is_on_channel(&self) -> bool {
        self.offset_hz.abs() < SYNTHESISER_STEP_HZ
    }
}

/// How a Join-Request fits a plan.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum JoinFit {
    /// On a join channel, at a join data rate.
    Fits {
        /// The channel.
        channel: u16,
    },
    /// As before, but reported less than 1 kHz beside the channel: a gateway's synthesiser step.
    Inexact {
        /// The channel.
        channel: u16,
        /// The frequency less the channel's.
        offset_hz: i64,
    },
    /// On a join channel, at a data rate that is not for joins there.
    WrongRate {
        /// The channel.
        channel: u16,
    },
    /// On a channel of the plan that is not for joins.
    NotAJoinChannel {
        /// The channel.
        channel: u16,
    },
    /// In the band, on no channel that the plan numbers. In a dynamic plan the network may have
    /// given a node a channel there, but a Join-Request does not belong on it.
    OffGrid {
        /// The nearest join channel.
        nearest: u16,
        /// The frequency less that channel's.
        offset_hz: i64,
    },
    /// Outside the band.
    OutOfBand,
}

impl JoinFit {
    /// Returns whether the Join-Request is as the plan wants it, exactly or nearly.
    pub fn is_fit(self) -> bool {
        matches!(self, Self::Fits { .. } | Self::Inexact { .. })
    }
}

/// A receive window: where and how the node listens.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct Window {
    /// The frequency.
    pub freq_hz: u32,
    /// The modulation.
    pub modulation: Modulation,
    /// Its downlink data rate.
    pub dr: u8,
}

/// What a plan and a revision say to a CFListType.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum CfListFit {
    /// Lawful.
    Accepted,
    /// Lawful only since a later revision; an older node ignores or rejects it.
    NotYet {
        /// The first revision in which it was met.
        since: Revision,
    },
    /// Not of this plan.
    Never,
}

impl Plan {
    /// Returns whether a frequency is in the plan's band.
    pub fn in_band(&self, freq_hz: u32) -> bool {
        (self.range_hz.0..=self.range_hz.1).contains(&freq_hz)
    }

    /// Returns the default channels of a dynamic plan; none for a fixed one.
    pub fn listed_channels(&self) -> &'static [Channel] {
        match self.default_channels {
            DefaultChannels::Listed(channels) => channels,
            DefaultChannels::AllUplink(_) => &[],
        }
    }

    /// Returns the nearest uplink channel of that bandwidth (`None`: of any), however far it is.
    ///
    /// Of a dynamic plan only the default channels are known. `None` when the plan has no channel
    /// of that bandwidth.
    pub fn nearest_uplink(&self, freq_hz: u32, bw_khz: Option<u16>) -> Option<ChannelHit> {
        let listed = self
            .listed_channels()
            .iter()
            .filter(|c| bw_khz.is_none_or(|bw| self.rates_have(c.dr_min, c.dr_max, bw)))
            .map(|c| ChannelHit::of(c.number, c.freq_hz, freq_hz));
        let blocks = nearest_in(self.uplink_blocks, freq_hz, bw_khz);
        listed.chain(blocks).min_by_key(|hit| hit.offset_hz.abs())
    }

    /// Returns the nearest downlink channel that the plan numbers; none in dynamic plans.
    pub fn nearest_downlink(&self, freq_hz: u32) -> Option<ChannelHit> {
        nearest_in(self.downlink_blocks, freq_hz, None).min_by_key(|hit| hit.offset_hz.abs())
    }

    /// Returns the frequency of an uplink channel, where the plan itself numbers it.
    pub fn channel_frequency(&self, channel: u16) -> Option<u32> {
        let listed = self.listed_channels().iter().find(|c| c.number == channel);
        listed.map(|c| c.freq_hz).or_else(|| frequency_in(self.uplink_blocks, channel))
    }

    /// Returns the frequency of a downlink channel of a fixed plan.
    pub fn downlink_frequency(&self, channel: u16) -> Option<u32> {
        frequency_in(self.downlink_blocks, channel)
    }

    /// Returns the sub-band of a channel, from 1; `None` where the plan has no sub-bands.
    ///
    /// In the plans with 64+8 channels a sub-band is eight channels of 125 kHz and the one of
    /// 500 kHz among them; in CN470-96 it is eight channels.
    pub fn sub_band(&self, channel: u16) -> Option<u8> {
        if self.sub_bands == 0 {
            return None;
        }
        let block = self.uplink_blocks.iter().find(|b| b.contains(channel))?;
        let place = channel - block.first;
        let wide = block.first != 0;
        u8::try_from(if wide { place } else { place / 8 } + 1).ok()
    }

    /// Returns the channels of a sub-band, lowest first; none when there is no such sub-band.
    pub fn sub_band_channels(&self, sub_band: u8) -> Vec<u16> {
        self.channels().into_iter().filter(|&c| self.sub_band(c) == Some(sub_band)).collect()
    }

    /// Returns the table of data rates of a direction.
    pub fn rates(&self, direction: Direction) -> &'static [DataRate] {
        match direction {
            Direction::Uplink => self.data_rates.uplink,
            Direction::Downlink => self.data_rates.downlink.unwrap_or(self.data_rates.uplink),
        }
    }

    /// Returns what a data rate number means in a direction; `None`: RFU.
    ///
    /// LR-FHSS is for uplinks alone, also where both directions share one table.
    pub fn dr(&self, direction: Direction, dr: u8) -> Option<Modulation> {
        let rate = self.rates(direction).iter().find(|r| r.dr == dr)?;
        rate.goes(direction).then_some(rate.modulation)
    }

    /// Returns the number of a data rate in a direction.
    pub fn dr_of(&self, direction: Direction, m: Modulation) -> Option<u8> {
        let rate = self.rates(direction).iter().find(|r| r.modulation == m)?;
        rate.goes(direction).then_some(rate.dr)
    }

    /// Returns the join data rates in a revision.
    pub fn join_data_rates(&self, revision: Revision) -> &'static [u8] {
        self.legacy_of(revision).map_or(self.join.data_rates, |l| l.join_data_rates)
    }

    /// Returns how a Join-Request on this frequency fits the plan's join channels.
    ///
    /// A dynamic plan has its join channels alone for this. On the common join channels of CN470
    /// the channel told is the uplink channel of the plan that a join there activates, and any of
    /// the twenty fits any of the four plans: a node scans them all before it knows its plan
    /// ([`Plan::common_join`] tells which one it will be).
    pub fn join_fit(&self, freq_hz: u32, modulation: Modulation) -> JoinFit {
        if let Some(hit) = self.join_hit(freq_hz, modulation) {
            let allowed = self.join_rate_fits(&hit, freq_hz, modulation);
            return match (allowed, hit.offset_hz) {
                (false, _) => JoinFit::WrongRate { channel: hit.channel },
                (true, 0) => JoinFit::Fits { channel: hit.channel },
                (true, offset_hz) => JoinFit::Inexact { channel: hit.channel, offset_hz },
            };
        }
        if !self.in_band(freq_hz) {
            return JoinFit::OutOfBand;
        }
        if self.kind == PlanKind::Fixed
            && let Some(hit) = self.nearest_uplink(freq_hz, None).filter(ChannelHit::is_on_channel)
        {
            return JoinFit::NotAJoinChannel { channel: hit.channel };
        }
        match self.nearest_join(freq_hz, modulation) {
            Some(hit) => JoinFit::OffGrid { nearest: hit.channel, offset_hz: hit.offset_hz },
            None => JoinFit::OutOfBand,
        }
    }

    /// Returns the common join channel on a frequency, in the plans that have such channels.
    pub fn common_join(&self, freq_hz: u32) -> Option<&'static CommonJoin> {
        let JoinChannels::Common { table, .. } = self.join.channels else { return None };
        table.iter().find(|c| ChannelHit::of(0, c.uplink_hz, freq_hz).is_on_channel())
    }

    /// Returns where RX1 is for an uplink; `downlink_dwell`: DownlinkDwellTime is 1.
    ///
    /// `None` when the plan does not tell: an uplink off the grid of a fixed plan, an unknown data
    /// rate, an RX1DROffset that is RFU. DlChannelReq may have moved the frequency of a dynamic
    /// plan's channel; that is the caller's to know.
    pub fn rx1(
        &self,
        uplink_hz: u32,
        uplink: Modulation,
        offset: u8,
        downlink_dwell: bool,
    ) -> Option<Window> {
        let freq_hz = self.rx1_frequency(uplink_hz, uplink)?;
        let uplink_dr = self.dr_of(Direction::Uplink, uplink)?;
        self.window(freq_hz, self.rx1_dr(uplink_dr, offset, downlink_dwell)?)
    }

    /// Returns the RX1 data rate of the newest revision for an uplink data rate and RX1DROffset.
    pub fn rx1_dr(&self, uplink_dr: u8, offset: u8, downlink_dwell: bool) -> Option<u8> {
        let rule = &self.rx1_rule;
        let table = rule.dwell_table.filter(|_| downlink_dwell).unwrap_or(rule.table);
        look_up(table, uplink_dr, offset)
    }

    /// Returns the RX1 data rate in a revision, which may have had a formula or another table.
    pub fn rx1_dr_in(
        &self,
        revision: Revision,
        uplink_dr: u8,
        offset: u8,
        downlink_dwell: bool,
    ) -> Option<u8> {
        if let Some(table) = self.legacy_of(revision).and_then(|l| l.rx1) {
            return look_up(table, uplink_dr, offset);
        }
        let Some(formula) = self.rx1_formula.filter(|f| revision <= f.until) else {
            return self.rx1_dr(uplink_dr, offset, downlink_dwell);
        };
        let effective = *formula.effective_offsets.get(usize::from(offset))?;
        let low = if downlink_dwell { formula.min_dwell } else { formula.min };
        let shifted = i16::from(uplink_dr) - i16::from(effective);
        u8::try_from(shifted.max(i16::from(low)).min(i16::from(formula.max))).ok()
    }

    /// Returns where RX1 is for the Join-Accept: RX1DROffset 0, no dwell limit, and in the antenna
    /// plans of CN470 the frequency of the join table instead of the data rule's.
    pub fn join_rx1(&self, uplink_hz: u32, uplink: Modulation) -> Option<Window> {
        if matches!(self.join.channels, JoinChannels::Common { .. }) {
            let uplink_dr = self.dr_of(Direction::Uplink, uplink)?;
            let freq_hz = self.common_join(uplink_hz)?.join_accept_hz;
            return self.window(freq_hz, self.rx1_dr(uplink_dr, 0, false)?);
        }
        self.rx1(uplink_hz, uplink, 0, false)
    }

    /// Returns where RX2 is for the Join-Accept.
    pub fn join_rx2(&self, uplink_hz: u32) -> Window {
        let default = self.rx2();
        let freq_hz = self.common_join(uplink_hz).map_or(default.freq_hz, |c| c.rx2_hz);
        Window { freq_hz, ..default }
    }

    /// Returns the default RX2.
    pub fn rx2(&self) -> Window {
        let dr = self.rx2_default.dr;
        // A plan whose RX2 has no data rate cannot be; SF12 is what a reader would expect then,
        // and a test holds every plan to it that this is never used.
        let never = Modulation::Lora { sf: 12, bw_khz: 125 };
        let modulation = self.dr(Direction::Downlink, dr).unwrap_or(never);
        Window { freq_hz: self.rx2_default.freq_hz, modulation, dr }
    }

    /// Returns whether the newest revision takes a CFListType in this plan.
    pub fn accepts_cflist_type(&self, t: u8) -> bool {
        self.cflist_fit(t, Revision::LATEST) == CfListFit::Accepted
    }

    /// Returns the first revision that takes a CFListType in this plan: `Some(None)` when every
    /// revision seen does, `None` when none does.
    pub fn cflist_since(&self, t: u8) -> Option<Option<Revision>> {
        match t {
            0 => self.cflist.frequencies.map(|_| None),
            1 => self.cflist.masks.map(|m| Some(m.since)),
            _ => None,
        }
    }

    /// Returns what a revision says to a CFListType in this plan.
    pub fn cflist_fit(&self, t: u8, revision: Revision) -> CfListFit {
        match self.cflist_since(t) {
            None => CfListFit::Never,
            Some(Some(since)) if revision < since => CfListFit::NotYet { since },
            Some(_) => CfListFit::Accepted,
        }
    }

    /// Returns whether a node of a LoRaWAN version takes a CFListType, as far as the version
    /// tells: its regional parameters may be newer ([`Revision::companion_of`]).
    pub fn cflist_fit_of_version(&self, t: u8, version: MacVersion) -> CfListFit {
        self.cflist_fit(t, Revision::companion_of(version))
    }

    /// Returns the fixed list that a CFListType 1 counts in this plan, if it has one.
    pub fn fixed_list(&self) -> Option<&'static FixedList> {
        match self.cflist.masks?.over {
            MasksOver::List(list) => Some(list),
            MasksOver::Channels { .. } => None,
        }
    }

    /// Returns the largest MACPayload (M) and the largest FRMPayload without FOpts (N).
    ///
    /// `dwell`: UplinkDwellTime is 1; downlinks are always held to the table without dwell limit
    /// (R5 p.79). `repeater`: the frame must fit through a repeater. `None`: not to be used.
    pub fn max_payload(
        &self,
        direction: Direction,
        dr: u8,
        dwell: bool,
        repeater: bool,
    ) -> Option<(u8, u8)> {
        let p = &self.payloads;
        let table = match direction {
            Direction::Uplink => p.uplink_dwell.filter(|_| dwell).unwrap_or(p.uplink),
            Direction::Downlink => p.downlink.unwrap_or(p.uplink),
        };
        let row = table.iter().find(|r| r.dr == dr)?;
        let m = if repeater { row.repeater } else { row.direct };
        Some((m, m.saturating_sub(FHDR_AND_FPORT)))
    }

    /// Returns the frequency of the beacon of that time (seconds, a multiple of 128).
    ///
    /// `join_channel`: index of the common join channel used, in the plans of CN470 that need it.
    pub fn beacon_frequency(&self, beacon_time: u32, join_channel: Option<u8>) -> Option<u32> {
        let turn = beacon_time / BEACON_PERIOD_S;
        let list = self.beacon.frequencies_hz;
        match self.beacon.hop {
            Hop::Never => list.first().copied(),
            Hop::OverList => list.get(usize::try_from(turn % 8).ok()?).copied(),
            Hop::OverJoinGroup => {
                let group = join_channel.filter(|j| *j < 8)?;
                self.downlink_frequency(u16::from(group) * 8 + u16::try_from(turn % 8).ok()?)
            }
            Hop::PingOverHalf => list.get(usize::from(join_channel?.checked_sub(8)?)).copied(),
        }
    }

    /// Returns the frequency of a node's ping slots in the beacon period of that time.
    ///
    /// `join_channel` as for [`Plan::beacon_frequency`].
    pub fn ping_slot_frequency(
        &self,
        dev_addr: DevAddr,
        beacon_time: u32,
        join_channel: Option<u8>,
    ) -> Option<u32> {
        let turn = u64::from(dev_addr.0) + u64::from(beacon_time / BEACON_PERIOD_S);
        let list = self.ping.frequencies_hz;
        match self.beacon.hop {
            Hop::Never => list.first().copied(),
            Hop::OverList => list.get(usize::try_from(turn % 8).ok()?).copied(),
            Hop::OverJoinGroup => {
                let group = join_channel.filter(|j| *j < 8)?;
                self.downlink_frequency(u16::from(group) * 8 + u16::try_from(turn % 8).ok()?)
            }
            Hop::PingOverHalf => {
                let half = join_channel?.checked_sub(8).filter(|h| *h < 2)?;
                self.downlink_frequency(u16::from(half) * 32 + u16::try_from(turn % 32).ok()?)
            }
        }
    }

    fn legacy_of(&self, revision: Revision) -> Option<&'static super::Legacy> {
        self.legacy.iter().find(|l| (l.revisions.0..=l.revisions.1).contains(&revision))
    }

    fn window(&self, freq_hz: u32, dr: u8) -> Option<Window> {
        Some(Window { freq_hz, modulation: self.dr(Direction::Downlink, dr)?, dr })
    }

    fn rx1_frequency(&self, uplink_hz: u32, uplink: Modulation) -> Option<u32> {
        match self.rx1_rule.channel {
            // A gateway's synthesiser step must not move the window off its channel.
            Rx1Channel::SameFrequency => Some(
                self.nearest_uplink(uplink_hz, None)
                    .filter(ChannelHit::is_on_channel)
                    .map_or(uplink_hz, |hit| hit.freq_hz),
            ),
            Rx1Channel::Modulo(modulus) => {
                let channel = self.on_uplink_channel(uplink_hz, uplink)?.channel;
                self.downlink_frequency(channel.checked_rem(modulus)?)
            }
        }
    }

    /// The uplink channel on a frequency: one of the modulation's bandwidth, or else any.
    fn on_uplink_channel(&self, freq_hz: u32, modulation: Modulation) -> Option<ChannelHit> {
        let own = self.nearest_uplink(freq_hz, bandwidth(modulation));
        own.filter(ChannelHit::is_on_channel)
            .or_else(|| self.nearest_uplink(freq_hz, None).filter(ChannelHit::is_on_channel))
    }

    /// The join channel on a frequency.
    fn join_hit(&self, freq_hz: u32, modulation: Modulation) -> Option<ChannelHit> {
        match self.join.channels {
            JoinChannels::Listed(_) | JoinChannels::Common { .. } => {
                self.nearest_join(freq_hz, modulation).filter(ChannelHit::is_on_channel)
            }
            JoinChannels::AnyUplink(_) => self.on_uplink_channel(freq_hz, modulation),
        }
    }

    fn nearest_join(&self, freq_hz: u32, modulation: Modulation) -> Option<ChannelHit> {
        match self.join.channels {
            JoinChannels::Listed(channels) => channels
                .iter()
                .map(|c| ChannelHit::of(c.number, c.freq_hz, freq_hz))
                .min_by_key(|hit| hit.offset_hz.abs()),
            JoinChannels::AnyUplink(_) => self
                .nearest_uplink(freq_hz, bandwidth(modulation))
                .or_else(|| self.nearest_uplink(freq_hz, None)),
            JoinChannels::Common { table, .. } => {
                let common = table.iter().min_by_key(|c| c.uplink_hz.abs_diff(freq_hz))?;
                let plan = Self::by_name(common.plan)?;
                let own = plan.nearest_uplink(common.uplink_hz, None)?;
                Some(ChannelHit::of(own.channel, common.uplink_hz, freq_hz))
            }
        }
    }

    fn join_rate_fits(&self, hit: &ChannelHit, freq_hz: u32, modulation: Modulation) -> bool {
        let Some(dr) = self.dr_of(Direction::Uplink, modulation) else { return false };
        if !self.join.data_rates.contains(&dr) {
            return false;
        }
        match self.join.channels {
            JoinChannels::Listed(channels) => channels
                .iter()
                .any(|c| c.number == hit.channel && (c.dr_min..=c.dr_max).contains(&dr)),
            // A 500 kHz channel has its own join data rate.
            JoinChannels::AnyUplink(_) => self
                .nearest_uplink(freq_hz, bandwidth(modulation))
                .is_some_and(|own| own.channel == hit.channel),
            JoinChannels::Common { .. } => true,
        }
    }

    fn rates_have(&self, dr_min: u8, dr_max: u8, bw_khz: u16) -> bool {
        self.data_rates
            .uplink
            .iter()
            .any(|r| (dr_min..=dr_max).contains(&r.dr) && bandwidth(r.modulation) == Some(bw_khz))
    }
}

impl DataRate {
    /// Returns whether frames of a direction can be sent at this data rate.
    pub fn goes(&self, direction: Direction) -> bool {
        direction == Direction::Uplink || !matches!(self.modulation, Modulation::LrFhss { .. })
    }
}

impl Block {
    /// Returns whether a channel number is in the block.
    pub fn contains(&self, channel: u16) -> bool {
        channel.checked_sub(self.first).is_some_and(|place| place < self.count)
    }

    /// Returns the frequency of a channel of the block.
    pub fn frequency(&self, channel: u16) -> Option<u32> {
        let place = channel.checked_sub(self.first).filter(|p| *p < self.count)?;
        Some(self.start_hz + u32::from(place) * self.step_hz)
    }

    /// Returns the nearest channel of the block.
    fn nearest(&self, freq_hz: u32) -> Option<ChannelHit> {
        let steps =
            (freq_hz.saturating_sub(self.start_hz) + self.step_hz / 2) / self.step_hz.max(1);
        let place = u16::try_from(steps).unwrap_or(u16::MAX).min(self.count.checked_sub(1)?);
        let channel = self.first + place;
        Some(ChannelHit::of(channel, self.frequency(channel)?, freq_hz))
    }
}

/// Returns every plan that a Join-Request of this frequency and modulation fits.
///
/// Of the plans of CN470 that share join channels, the one that the channel activates.
pub fn plans_joining_at(freq_hz: u32, modulation: Modulation) -> Vec<&'static Plan> {
    Plan::all()
        .iter()
        .copied()
        .filter(|plan| plan.join_fit(freq_hz, modulation).is_fit())
        .filter(|plan| plan.common_join(freq_hz).is_none_or(|c| c.plan == plan.name))
        .collect()
}

impl std::fmt::Display for Window {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} MHz DR{} {}", Megahertz(self.freq_hz), self.dr, self.modulation)
    }
}

fn bandwidth(modulation: Modulation) -> Option<u16> {
    match modulation {
        Modulation::Lora { bw_khz, .. } => Some(bw_khz),
        Modulation::Fsk { .. } | Modulation::LrFhss { .. } => None,
    }
}

fn nearest_in(
    blocks: &'static [Block],
    freq_hz: u32,
    bw_khz: Option<u16>,
) -> impl Iterator<Item = ChannelHit> {
    blocks
        .iter()
        .filter(move |b| bw_khz.is_none_or(|bw| b.bw_khz == bw))
        .filter_map(move |b| b.nearest(freq_hz))
}

fn frequency_in(blocks: &[Block], channel: u16) -> Option<u32> {
    blocks.iter().find_map(|b| b.frequency(channel))
}

fn look_up(table: &[Rx1Row], uplink_dr: u8, offset: u8) -> Option<u8> {
    table.iter().find(|r| r.uplink == uplink_dr)?.downlink.get(usize::from(offset)).copied()
}

/// Gateways report what their synthesiser can make, a few hundred hertz beside the channel.
const SYNTHESISER_STEP_HZ: i64 = 1000;
/// FHDR without FOpts (7 octets) and FPort: what M counts and N does not.
const FHDR_AND_FPORT: u8 = 8;
const BEACON_PERIOD_S: u32 = 128;
