//! The radio layer: modulations, time on air, demodulation floor, shares of the air.

mod airtime;
mod budget;
mod hour;

use std::{fmt, str::FromStr};

pub use airtime::{Airtime, CodingRate, LowDataRate, fsk_time_on_air, time_on_air};
pub use budget::{
    DWELL_LIMIT, DutyCycle, JOIN_BACK_OFF, JoinBackOff, demodulation_floor, duty_cycle_wait,
    join_back_off, link_margin, messages_per_hour,
};
pub use hour::BusiestHour;
pub(crate) use hour::Hours;

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
        if let Some((cr, ocw)) = text.strip_prefix("LR-FHSS-").and_then(|t| t.split_once("/3-")) {
            return match (cr, ocw.parse()) {
                ("1", Ok(ocw_khz)) => Ok(Self::LrFhss { cr_thirds: 1, ocw_khz }),
                ("2", Ok(ocw_khz)) => Ok(Self::LrFhss { cr_thirds: 2, ocw_khz }),
                _ => Err(NoModulation),
            };
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_modulation_reads_what_it_prints() {
        for text in ["SF7BW125", "SF12BW500", "FSK50000", "LR-FHSS-1/3-137", "LR-FHSS-2/3-1523"] {
            assert_eq!(text.parse::<Modulation>().unwrap().to_string(), text);
        }
        for text in ["SF4BW125", "SF13BW125", "SF7", "FSK", "LR-FHSS-3/3-137", "7", ""] {
            assert_eq!(text.parse::<Modulation>(), Err(NoModulation), "{text}");
        }
    }
}
