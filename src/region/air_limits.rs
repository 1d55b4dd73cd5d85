//! What a plan limits of a transmission's time: shares of the air, and the longest one.
//!
//! The numbers are those that the regional parameters print. The law of the land is what decides.

use std::time::Duration;

use super::{Megahertz, Plan, RegulatorBand};
use crate::{frame::Direction, radio::Modulation};

/// A share of the air that a plan states itself, beside the sub-bands of a regulator.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct DutyRule {
    /// Whether it counts the default channels alone, or all that is sent in the band.
    pub default_channels: bool,
    /// Duty cycle in thousandths.
    pub permille: u16,
}

/// Frequencies that have one share of the air in common.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum DutyBand {
    /// A sub-band of the regulator.
    SubBand(&'static RegulatorBand),
    /// What the plan states itself.
    Rule(DutyRule),
}

/// The longest transmission that a plan allows.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct Longest {
    /// How long it may be.
    pub limit: Duration,
    /// Whether the limit holds only while TxParamSetupReq has set it: UplinkDwellTime or
    /// DownlinkDwellTime is 1.
    pub while_dwell: bool,
}

impl DutyBand {
    /// Returns a name for the share in a plan: `M 868.0-868.6 MHz`, `default channels`.
    pub fn name(&self, plan: &Plan) -> String {
        match (self, self.range_hz(plan)) {
            (Self::SubBand(band), _) => {
                let (low, high) = (Megahertz(band.low_hz), Megahertz(band.high_hz));
                format!("{} {low}-{high} MHz", band.letter)
            }
            (Self::Rule(_), Some((low, high))) => {
                format!("{}-{} MHz", Megahertz(low), Megahertz(high))
            }
            (Self::Rule(_), None) => "default channels".into(),
        }
    }

    /// Returns the duty cycle as people write it: `0.1%`, `1%`.
    pub fn percent(&self) -> String {
        match (self.permille() / 10, self.permille() % 10) {
            (whole, 0) => format!("{whole}%"),
            (whole, tenth) => format!("{whole}.{tenth}%"),
        }
    }

    /// Returns whether a transmission on that frequency counts.
    pub fn covers(&self, plan: &Plan, freq_hz: u32) -> bool {
        match self {
            // The upper edge of one is the lower edge of the next.
            Self::SubBand(band) => (band.low_hz..band.high_hz).contains(&freq_hz),
            Self::Rule(DutyRule { default_channels: false, .. }) => plan.in_band(freq_hz),
            Self::Rule(DutyRule { default_channels: true, .. }) => plan
                .listed_channels()
                .iter()
                .any(|channel| channel.freq_hz.abs_diff(freq_hz) < NEAR_HZ),
        }
    }

    /// Returns the duty cycle in thousandths.
    pub const fn permille(&self) -> u16 {
        match self {
            Self::SubBand(band) => band.duty_permille,
            Self::Rule(rule) => rule.permille,
        }
    }

    /// Returns the lowest and highest frequency, hertz; `None` for the default channels.
    pub const fn range_hz(&self, plan: &Plan) -> Option<(u32, u32)> {
        match self {
            Self::SubBand(band) => Some((band.low_hz, band.high_hz)),
            Self::Rule(DutyRule { default_channels: false, .. }) => Some(plan.range_hz),
            Self::Rule(_) => None,
        }
    }

    /// Returns how long all transmissions of an hour may take together.
    pub fn hourly(&self) -> Duration {
        Duration::from_secs(3600) * u32::from(self.permille()) / 1000
    }
}

impl Plan {
    /// Returns the shares of the air that the plan sets; none where it has no duty cycle.
    pub fn duty_bands(&self) -> impl Iterator<Item = DutyBand> {
        let bands = self.regulator_bands.iter().map(DutyBand::SubBand);
        bands.chain(self.duty_rules.iter().copied().map(DutyBand::Rule))
    }

    /// Returns the duty cycle in words, without the name of the table that is told beside them.
    pub fn duty_words(&self) -> &'static str {
        self.duty_cycle.strip_suffix(" (eu868_sub_band)").unwrap_or(self.duty_cycle)
    }

    /// Returns the longest transmission that the plan allows in a direction, if it limits it.
    ///
    /// A dwell limit that no TxParamSetupReq switches (US915) is for channels of 125 kHz.
    pub fn longest(&self, direction: Direction, modulation: Modulation) -> Option<Longest> {
        let dwell = match direction {
            Direction::Uplink => self.dwell.uplink_ms,
            Direction::Downlink => self.dwell.downlink_ms,
        };
        let (ms, while_dwell) = match (dwell, self.dwell.tx_param_setup) {
            (0, _) => (self.longest_ms, false),
            (ms, true) => (ms, true),
            (ms, false) if matches!(modulation, Modulation::Lora { bw_khz: 125, .. }) => {
                (ms, false)
            }
            (_, false) => (0, false),
        };
        let limit = Duration::from_millis(ms.into());
        (ms > 0).then_some(Longest { limit, while_dwell })
    }
}

/// Gateways report what their synthesiser can make.
const NEAR_HZ: u32 = 1000;
