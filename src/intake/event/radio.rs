//! Frames on their way through a gateway, with the radio data of each.

use jiff::Timestamp;

use crate::{
    frame::{Decoded, decode},
    intake::text::printable,
    radio::{CodingRate, Modulation},
};

/// A frame as one gateway received it.
#[derive(Clone, Debug, PartialEq)]
pub struct Heard {
    /// The PHYPayload, and what it says.
    pub frame: Decoded,
    /// The concentrator's counter when the frame ended, microseconds; wraps every 71.6 min.
    pub tmst: Option<u32>,
    /// The same moment, milliseconds since 6 January 1980 GPS.
    pub tmms: Option<u64>,
    /// The same moment, UTC.
    pub time: Option<Timestamp>,
    /// Centre frequency, hertz.
    pub freq_hz: Option<u32>,
    /// Spreading factor and bandwidth, or bit rate.
    pub modulation: Option<Modulation>,
    /// Forward error correction.
    pub coding_rate: Option<CodeRate>,
    /// The gateway's own number of the receiver, which is not the LoRaWAN channel index.
    pub chan: Option<u16>,
    /// Power of the channel, dBm.
    pub rssi: Option<f32>,
    /// Signal to noise ratio, dB.
    pub snr: Option<f32>,
    /// What the concentrator says of the frame's CRC.
    pub crc: Crc,
}

impl Heard {
    /// Returns a frame of which nothing but its bytes is known.
    pub fn new(octets: &[u8]) -> Self {
        Self::of(decode(octets))
    }

    /// Returns a decoded frame of which nothing else is known.
    pub const fn of(frame: Decoded) -> Self {
        Self {
            frame,
            tmst: None,
            tmms: None,
            time: None,
            freq_hz: None,
            modulation: None,
            coding_rate: None,
            chan: None,
            rssi: None,
            snr: None,
            crc: Crc::Unknown,
        }
    }

    /// Returns the PHYPayload.
    pub fn octets(&self) -> &[u8] {
        &self.frame.octets
    }
}

/// A frame that a server orders a gateway to send.
#[derive(Clone, Debug, PartialEq)]
pub struct Ordered {
    /// The PHYPayload, and what it says.
    pub frame: Decoded,
    /// When to send it.
    pub when: When,
    /// Whether the counter that its time is meant by began again since: the gateway drops it.
    pub gone: bool,
    /// When to send it, UTC, as the protocol's first versions said it.
    pub time: Option<Timestamp>,
    /// Centre frequency, hertz.
    pub freq_hz: Option<u32>,
    /// Spreading factor and bandwidth, or bit rate.
    pub modulation: Option<Modulation>,
    /// Forward error correction.
    pub coding_rate: Option<CodeRate>,
    /// Power to send with, dBm.
    pub power_dbm: Option<f32>,
    /// Whether the chirps are inverted (`ipol`), as nodes expect it.
    pub inverted: Option<bool>,
    /// Whether the CRC of the physical layer is left out (`ncrc`).
    pub no_crc: Option<bool>,
    /// Whether the header of the physical layer is left out (`nhdr`).
    pub no_header: Option<bool>,
    /// Preamble, symbols (LoRa) or bytes (FSK).
    pub preamble: Option<u16>,
    /// The radio chain that sends (`rfch`).
    pub rf_chain: Option<u16>,
    /// FSK frequency deviation, hertz (`fdev`).
    pub deviation_hz: Option<u32>,
    /// Whether it is to be sent only where the one before it is not: the same frame in RX2.
    pub alternative: bool,
    /// Its number among the orders, where the format has numbers and no tokens.
    pub number: Option<u32>,
}

impl Ordered {
    /// Returns a frame of which nothing but its bytes is known.
    pub fn new(octets: &[u8]) -> Self {
        Self::of(decode(octets))
    }

    /// Returns a decoded frame of which nothing else is known.
    pub const fn of(frame: Decoded) -> Self {
        Self {
            frame,
            when: When::Unsaid,
            gone: false,
            time: None,
            freq_hz: None,
            modulation: None,
            coding_rate: None,
            power_dbm: None,
            inverted: None,
            no_crc: None,
            no_header: None,
            preamble: None,
            rf_chain: None,
            deviation_hz: None,
            alternative: false,
            number: None,
        }
    }

    /// Returns the PHYPayload.
    pub fn octets(&self) -> &[u8] {
        &self.frame.octets
    }
}

/// When a frame is to be sent.
#[derive(Clone, Copy, Debug, Default, Eq, Hash, PartialEq)]
pub enum When {
    /// At once (`imme`).
    Immediate,
    /// When the concentrator's counter has this value, microseconds (`tmst`).
    Counter(u32),
    /// At this moment, milliseconds since 6 January 1980 GPS (`tmms`).
    Gps(u64),
    /// Not said by any of these.
    #[default]
    Unsaid,
}

/// Forward error correction as a gateway names it: `codr`.
#[derive(Clone, Debug, Eq, Hash, PartialEq)]
pub enum CodeRate {
    /// One of LoRa: `4/5` to `4/8`.
    Lora(CodingRate),
    /// Another: of LR-FHSS, or `OFF`; control characters escaped.
    Other(String),
}

impl CodeRate {
    /// Returns the coding rate of that name.
    pub fn by_name(name: &str) -> Self {
        let lora = match name.as_bytes() {
            [b'4', b'/', bits] => CodingRate::of_bits(bits.wrapping_sub(b'0')),
            _ => None,
        };
        lora.map_or_else(|| Self::Other(printable(name).into_owned()), Self::Lora)
    }

    /// Returns the coding rate of LoRa, if it is one.
    pub const fn lora(&self) -> Option<CodingRate> {
        match self {
            Self::Lora(rate) => Some(*rate),
            Self::Other(_) => None,
        }
    }
}

/// What a concentrator says of the CRC of the physical layer.
#[derive(Clone, Copy, Debug, Default, Eq, Hash, PartialEq)]
pub enum Crc {
    /// It holds (`stat` 1).
    Ok,
    /// It fails (`stat` -1): the bytes are not those that were sent.
    Bad,
    /// The frame carries none (`stat` 0).
    None,
    /// Not said.
    #[default]
    Unknown,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_code_rate_of_lora_is_known_and_another_is_kept() {
        assert_eq!(CodeRate::by_name("4/5").lora(), Some(CodingRate::Cr45));
        assert_eq!(CodeRate::by_name("4/8").lora(), Some(CodingRate::Cr48));
        for name in ["", "4/4", "4/9", "4/", "2/3", "OFF"] {
            assert_eq!(CodeRate::by_name(name), CodeRate::Other(name.into()));
        }
    }
}
