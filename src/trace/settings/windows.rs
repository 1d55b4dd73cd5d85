//! Where RX1 and RX2 are by the settings in force.

use super::belief::{Belief, Fit};
use crate::{
    frame::Direction,
    radio::Modulation,
    region::{Plan, PlanKind, Revision},
};

/// What a downlink is expected to have, and what it may have.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct Expected<T> {
    /// What it is to have, as far as that is known.
    pub want: Option<T>,
    /// What it may have: the values of settings whose fate is not known, and of other revisions.
    pub may: Vec<T>,
    /// Whether all that it follows from is sure.
    pub sure: bool,
}

impl<T: PartialEq> Expected<T> {
    fn unknown() -> Self {
        Self { want: None, may: Vec::new(), sure: false }
    }

    /// Returns how a value fits, by a comparison.
    pub fn fit(&self, same: impl Fn(&T) -> bool) -> Fit {
        if self.want.iter().chain(&self.may).any(same) {
            return Fit::Yes;
        }
        if self.want.is_none() || !self.sure { Fit::Unknown } else { Fit::No }
    }
}

impl Belief {
    /// Returns the delay of RX1, microseconds.
    pub fn rx1_delay_us(&self) -> Expected<i64> {
        let us = |s: &u8| i64::from(*s) * 1_000_000;
        Expected {
            want: self.rx_delay.value().map(us),
            may: self.rx_delay.maybe().iter().map(us).collect(),
            sure: self.rx_delay.is_known(),
        }
    }

    /// Returns the frequency of RX1 for an uplink.
    pub fn rx1_hz(&self, plan: &Plan, up_hz: u32, up: Modulation) -> Expected<u32> {
        let by_plan = plan.rx1(up_hz, up, 0, false).map(|window| window.freq_hz);
        if plan.kind == PlanKind::Fixed {
            let may = Vec::new();
            return Expected { want: by_plan, may, sure: by_plan.is_some() };
        }
        let mut expected = Expected { want: None, may: Vec::new(), sure: true };
        for (index, _) in self.channels_at(up_hz) {
            if let Some(held) = self.moved.get(&index) {
                expected.want = expected.want.or(held.value().copied());
                expected.may.extend(held.all().copied());
                expected.sure &= held.is_known();
            } else {
                expected.may.push(up_hz);
                expected.want = expected.want.or(Some(up_hz));
            }
        }
        if expected.want.is_none() {
            expected.want = Some(up_hz);
        }
        // DlChannelReq may have been missed.
        expected.sure &= self.all_moved;
        expected
    }

    /// Returns the modulation of RX1 for an uplink, by every revision of the plan.
    pub fn rx1_rate(&self, plan: &Plan, up: Modulation) -> Expected<Modulation> {
        let Some(up_dr) = plan.dr_of(Direction::Uplink, up) else { return Expected::unknown() };
        let Some(offset) = self.rx1_offset.value() else { return Expected::unknown() };
        let rate = |dr: u8| plan.dr(Direction::Downlink, dr);
        let dwell = self.down_dwell.value().copied().unwrap_or_default();
        let mut may = Vec::new();
        for offset in self.rx1_offset.all() {
            for dwell in self.down_dwell.all().copied().chain([dwell]) {
                let newest = plan.rx1_dr(up_dr, *offset, dwell).and_then(rate);
                may.extend(newest);
                for revision in Revision::ALL {
                    let older = plan.rx1_dr_in(revision, up_dr, *offset, dwell).and_then(rate);
                    may.extend(older.filter(|m| !may.contains(m)));
                }
            }
        }
        Expected {
            want: plan.rx1_dr(up_dr, *offset, dwell).and_then(rate),
            may,
            sure: self.rx1_offset.is_known() && self.down_dwell.is_known(),
        }
    }

    /// Returns the RX1DROffsets that would give a modulation for an uplink.
    pub fn offsets_giving(&self, plan: &Plan, up: Modulation, down: Modulation) -> Vec<u8> {
        let Some(up_dr) = plan.dr_of(Direction::Uplink, up) else { return Vec::new() };
        let dwell = self.down_dwell.value().copied().unwrap_or_default();
        let gives = |offset: &u8| {
            let dr = plan.rx1_dr(up_dr, *offset, dwell);
            dr.and_then(|dr| plan.dr(Direction::Downlink, dr)) == Some(down)
        };
        (0..=plan.rx1_offset_max).filter(gives).collect()
    }

    /// Returns the frequency of RX2.
    pub fn rx2_freq(&self) -> Expected<u32> {
        Expected {
            want: self.rx2_hz.value().copied(),
            may: self.rx2_hz.maybe().to_vec(),
            sure: self.rx2_hz.is_known(),
        }
    }

    /// Returns the modulation of RX2.
    pub fn rx2_modulation(&self, plan: &Plan) -> Expected<Modulation> {
        let rate = |dr: &u8| plan.dr(Direction::Downlink, *dr);
        Expected {
            want: self.rx2_rate.value().and_then(rate),
            may: self.rx2_rate.maybe().iter().filter_map(rate).collect(),
            sure: self.rx2_rate.is_known(),
        }
    }
}
