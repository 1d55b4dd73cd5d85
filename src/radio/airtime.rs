//! Time on air.
//!
//! LoRa, spreading factors 7 to 12, as the data sheets of common transceivers give it:
//!
//! ```text
//! Tsym     = 2^SF / BW
//! preamble = (n + 4.25) Tsym
//! payload  = (8 + max(ceil((8 PL - 4 SF + 28 + 16 CRC - 20 IH) / (4 (SF - 2 DE))) (CR + 4), 0)) Tsym
//! ```
//!
//! PL octets of PHYPayload, CRC 1 with a payload CRC, IH 1 with an implicit header, DE 1 with
//! low-data-rate optimisation, CR 1 to 4. SF5, SF6 and LR-FHSS follow other rules that no source at
//! hand gives: their time is `None`, not a guess.

use std::time::Duration;

use super::Modulation;
use crate::frame::Direction;

/// What a LoRa packet's time on air depends on besides data rate and length.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub struct Airtime {
    /// Symbols of the preamble, the 4.25 of the sync word not counted: 8, of beacons 10.
    pub preamble_symbols: u16,
    /// Whether the packet has a header of its own.
    pub explicit_header: bool,
    /// Whether a CRC follows the payload: uplinks have one, downlinks do not.
    pub crc: bool,
    /// Coding rate: 4/5 in LoRaWAN.
    pub coding_rate: CodingRate,
    /// Low-data-rate optimisation.
    pub low_data_rate: LowDataRate,
}

/// Coding rate of LoRa: of how many bits four are data.
#[derive(Clone, Copy, Debug, Eq, Hash, Ord, PartialEq, PartialOrd)]
pub enum CodingRate {
    /// 4/5.
    Cr45,
    /// 4/6.
    Cr46,
    /// 4/7.
    Cr47,
    /// 4/8.
    Cr48,
}

/// Low-data-rate optimisation of LoRa.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub enum LowDataRate {
    /// On where a symbol takes more than 16 ms: SF11 and SF12 at 125 kHz, SF12 at 250 kHz.
    Auto,
    /// On.
    On,
    /// Off.
    Off,
}

/// Returns how long a PHYPayload of `phy_len` octets is on the air with the defaults of LoRaWAN:
/// [`Airtime::lorawan`], and for FSK [`fsk_time_on_air`].
///
/// None for what has no formula here (SF5, SF6, LR-FHSS) and for more than 255 octets, which no radio
/// sends.
///
/// ```
/// use handfast::{frame::Direction, radio::time_on_air};
///
/// let sf12 = "SF12BW125".parse()?;
/// assert_eq!(time_on_air(sf12, 23, Direction::Uplink).unwrap().as_micros(), 1_482_752);
/// # Ok::<(), handfast::radio::NoModulation>(())
/// ```
pub fn time_on_air(
    modulation: Modulation,
    phy_len: usize,
    direction: Direction,
) -> Option<Duration> {
    match modulation {
        Modulation::Lora { sf, bw_khz } => Airtime::lorawan(direction).lora(sf, bw_khz, phy_len),
        Modulation::Fsk { bit_rate } => fsk_time_on_air(bit_rate, phy_len),
        Modulation::LrFhss { .. } => None,
    }
}

/// Returns how long an FSK packet is on the air: 5 octets of preamble, 3 of sync word, 1 of length,
/// the PHYPayload, 2 of CRC. None for a bit rate of 0 and for more than 255 octets.
pub fn fsk_time_on_air(bit_rate: u32, phy_len: usize) -> Option<Duration> {
    let octets = u64::from(u8::try_from(phy_len).ok()?) + 5 + 3 + 1 + 2;
    (octets * 8 * 1_000_000_000).checked_div(bit_rate.into()).map(Duration::from_nanos)
}

impl Airtime {
    /// Returns what LoRaWAN uses: 8 symbols of preamble, explicit header, 4/5, CRC on uplinks only.
    pub const fn lorawan(direction: Direction) -> Self {
        Self {
            preamble_symbols: 8,
            explicit_header: true,
            crc: matches!(direction, Direction::Uplink),
            coding_rate: CodingRate::Cr45,
            low_data_rate: LowDataRate::Auto,
        }
    }

    /// Returns what class B beacons use: 10 symbols of preamble, implicit header, no CRC.
    pub const fn beacon() -> Self {
        Self { preamble_symbols: 10, explicit_header: false, ..Self::lorawan(Direction::Downlink) }
    }

    /// Returns the time on air of `phy_len` octets; None outside SF7 to SF12, for a bandwidth of 0 and
    /// for more than 255 octets.
    pub fn lora(&self, sf: u8, bw_khz: u16, phy_len: usize) -> Option<Duration> {
        if !(7..=12).contains(&sf) || bw_khz == 0 {
            return None;
        }
        let bits = i32::from(u8::try_from(phy_len).ok()?) * 8 - 4 * i32::from(sf)
            + 28
            + 16 * i32::from(self.crc)
            - 20 * i32::from(!self.explicit_header);
        let slow = match self.low_data_rate {
            LowDataRate::Auto => (1u32 << sf) > 16 * u32::from(bw_khz),
            LowDataRate::On => true,
            LowDataRate::Off => false,
        };
        let bits_a_row = 4 * (u64::from(sf) - 2 * u64::from(slow));
        let rows = u64::try_from(bits).unwrap_or_default().div_ceil(bits_a_row);
        let payload = 8 + rows * self.coding_rate.symbols();
        // Quarters, for the 4.25 symbols that end the preamble.
        let quarters = 4 * u64::from(self.preamble_symbols) + 17 + 4 * payload;
        let nanos = quarters * (1u64 << sf) * 1_000_000 / (4 * u64::from(bw_khz));
        Some(Duration::from_nanos(nanos))
    }
}

impl CodingRate {
    /// Returns the coding rate that sends 5, 6, 7 or 8 bits for four.
    pub const fn of_bits(bits: u8) -> Option<Self> {
        match bits {
            5 => Some(Self::Cr45),
            6 => Some(Self::Cr46),
            7 => Some(Self::Cr47),
            8 => Some(Self::Cr48),
            _ => None,
        }
    }

    const fn symbols(self) -> u64 {
        match self {
            Self::Cr45 => 5,
            Self::Cr46 => 6,
            Self::Cr47 => 7,
            Self::Cr48 => 8,
        }
    }
}
