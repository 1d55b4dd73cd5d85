//! One transmission: how long it was on the air, by all that a gateway says of it.

use std::time::Duration;

use jiff::Timestamp;

use crate::{
    frame::{Decoded, Direction, Frame},
    intake::{CodeRate, Crc, Heard, Ordered},
    radio::{Airtime, CodingRate, Modulation, fsk_time_on_air},
};

/// One transmission.
#[derive(Clone, Copy, Debug)]
pub(super) struct OnAir {
    pub(super) at: Option<Timestamp>,
    pub(super) direction: Direction,
    pub(super) freq_hz: Option<u32>,
    pub(super) modulation: Option<Modulation>,
    /// None where no data rate is said, or no formula is at hand for it.
    pub(super) airtime: Option<Duration>,
    pub(super) phy_len: usize,
    pub(super) what: What,
}

/// What is sent, as far as limits ask.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(super) enum What {
    Data,
    Request,
    Other,
}

impl OnAir {
    pub(super) fn uplink(at: Option<Timestamp>, up: &Heard) -> Self {
        let setup = Airtime {
            // Without a CRC the frame is as long as a downlink; not said: as the standard has it.
            crc: up.crc != Crc::None,
            coding_rate: coding_rate(up.coding_rate.as_ref()),
            ..Airtime::lorawan(Direction::Uplink)
        };
        Self {
            at: at.or(up.time),
            direction: Direction::Uplink,
            freq_hz: up.freq_hz,
            modulation: up.modulation,
            airtime: time(setup, up.modulation, up.octets().len()),
            phy_len: up.octets().len(),
            what: What::of(&up.frame),
        }
    }

    pub(super) fn downlink(at: Option<Timestamp>, down: &Ordered) -> Self {
        let standard = Airtime::lorawan(Direction::Downlink);
        let setup = Airtime {
            preamble_symbols: down.preamble.unwrap_or(standard.preamble_symbols),
            explicit_header: down.no_header != Some(true),
            crc: down.no_crc == Some(false),
            coding_rate: coding_rate(down.coding_rate.as_ref()),
            ..standard
        };
        Self {
            at: at.or(down.time),
            direction: Direction::Downlink,
            freq_hz: down.freq_hz,
            modulation: down.modulation,
            airtime: time(setup, down.modulation, down.octets().len()),
            phy_len: down.octets().len(),
            what: What::of(&down.frame),
        }
    }
}

impl What {
    const fn of(decoded: &Decoded) -> Self {
        match decoded.frame {
            Some(Frame::Data(_)) => Self::Data,
            Some(Frame::JoinRequest(_) | Frame::RejoinRequest(_)) => Self::Request,
            _ => Self::Other,
        }
    }
}

fn time(setup: Airtime, modulation: Option<Modulation>, phy_len: usize) -> Option<Duration> {
    match modulation? {
        Modulation::Lora { sf, bw_khz } => setup.lora(sf, bw_khz, phy_len),
        Modulation::Fsk { bit_rate } => fsk_time_on_air(bit_rate, phy_len),
        Modulation::LrFhss { .. } => None,
    }
}

/// LoRaWAN has 4/5 where nothing is said.
fn coding_rate(said: Option<&CodeRate>) -> CodingRate {
    said.and_then(CodeRate::lora).unwrap_or(CodingRate::Cr45)
}
