//! The radio layer: modulations, time on air, demodulation floor.

use std::{fmt, str::FromStr, time::Duration};

use crate::frame::Direction;

/// How a frame is put on the air.
#[derive(Clone, Copy, Debug, Eq, Hash, Ord, PartialEq, PartialOrd)]
pub enum Modulation {
    /// LoRa: spreading factor and bandwidth.
    Lora {
        /// Spreading factor, 5 to 12.
        sf: u8,
        /// Bandwidth in kHz: 125, 250, 500.
        bw_khz: u16,
    },
    /// FSK.
    Fsk {
        /// Bits a second.
        bit_rate: u32,
    },
    /// LR-FHSS, uplink only.
    LrFhss {
        /// Coding rate in thirds: 1 for 1/3, 2 for 2/3.
        cr_thirds: u8,
        /// Operating channel width in kHz: 137, 336, 1523.
        ocw_khz: u16,
    },
}

impl fmt::Display for Modulation {
    /// Prints the trade's form: `SF7BW125`, `FSK50000`, `LR-FHSS-1/3-137`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Lora { sf, bw_khz } => write!(f, "SF{sf}BW{bw_khz}"),
            Self::Fsk { bit_rate } => write!(f, "FSK{bit_rate}"),
            Self::LrFhss { cr_thirds, ocw_khz } => write!(f, "LR-FHSS-{cr_thirds}/3-{ocw_khz}"),
        }
    }
}

/// A text that names no modulation.
#[derive(Clone, Copy, Debug, Eq, PartialEq, thiserror::Error)]
#[error("no data rate such as SF7BW125")]
pub struct NoModulation;

impl FromStr for Modulation {
    type Err = NoModulation;

    fn from_str(text: &str) -> Result<Self, NoModulation> {
        if let Some(rate) = text.strip_prefix("FSK") {
            return rate.parse().map(|bit_rate| Self::Fsk { bit_rate }).map_err(|_| NoModulation);
        }
        let (sf, bw) =
            text.strip_prefix("SF").and_then(|t| t.split_once("BW")).ok_or(NoModulation)?;
        let (sf, bw_khz) = (sf.parse().map_err(|_| NoModulation)?, bw.parse());
        match (sf, bw_khz) {
            (5..=12, Ok(bw_khz)) => Ok(Self::Lora { sf, bw_khz }),
            _ => Err(NoModulation),
        }
    }
}

/// Returns how long a PHYPayload is on the air: preamble 8, explicit header, CR 4/5, payload CRC
/// on uplinks alone.
pub fn time_on_air(modulation: Modulation, phy_len: usize, direction: Direction) -> Duration {
    let octets = u64::try_from(phy_len).unwrap_or(u64::MAX).min(255);
    match modulation {
        Modulation::Lora { sf, bw_khz } => {
            let (sf, bw_khz) = (u64::from(sf), u64::from(bw_khz.max(1)));
            let symbol_ns = (1_000_000u64 << sf) / bw_khz;
            let optimised = u64::from(symbol_ns > 16_000_000);
            let crc = if direction == Direction::Uplink { 16 } else { 0 };
            let bits = (8 * octets + 28 + crc).saturating_sub(4 * sf);
            let payload = 8 + bits.div_ceil(4 * sf.saturating_sub(2 * optimised).max(1)) * 5;
            Duration::from_nanos(symbol_ns * (4 * (8 + payload) + 17) / 4)
        }
        Modulation::Fsk { bit_rate } => {
            let bits = (5 + 3 + 1 + octets + 2) * 8;
            Duration::from_nanos(bits * 1_000_000_000 / u64::from(bit_rate.max(1)))
        }
        Modulation::LrFhss { .. } => Duration::ZERO,
    }
}

/// Returns the SNR that LoRa needs at a spreading factor, dB.
pub fn demodulation_floor(sf: u8) -> Option<f32> {
    (6..=12).contains(&sf).then(|| f32::from(sf) * -2.5 + 10.0)
}
