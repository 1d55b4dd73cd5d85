//! What a gateway's datagram says of a frame, as a header.

use super::{LoraTap, PUBLIC};
use crate::{
    id::Eui64,
    intake::{CodeRate, Crc, Downlink, Origin, SourcedFrame, Uplink, When},
    radio::Modulation,
};

impl LoraTap {
    /// Returns the header of a frame, by what it came as.
    pub fn of(frame: &SourcedFrame) -> Self {
        match &frame.origin {
            Origin::Text(_) => Self::unheard(),
            Origin::Uplink(uplink) => Self::of_uplink(uplink, frame.gateway),
            Origin::Downlink(downlink) => Self::of_downlink(downlink, frame.gateway),
        }
    }

    /// Returns the header of a frame of which nothing is known, not even whether it was on the air.
    pub fn unheard() -> Self {
        Self { tag: Self::SCHEDULED, ..Self::default() }
    }

    /// Returns the header of a frame that a gateway heard.
    pub fn of_uplink(uplink: &Uplink, gateway: Option<Eui64>) -> Self {
        Self {
            freq_hz: uplink.freq_hz,
            modulation: uplink.modulation,
            rssi: uplink.rssi,
            snr: uplink.snr,
            sync_word: public(uplink.modulation),
            gateway,
            counter: uplink.tmst,
            // A gateway's receivers hear no other polarity.
            inverted: Some(false),
            crc: uplink.crc,
            coding_rate: uplink.coding_rate.as_ref().and_then(CodeRate::lora),
            chan: uplink.chan.and_then(|chan| chan.try_into().ok()),
            ..Self::default()
        }
    }

    /// Returns the header of a frame that a gateway is to send, tagged as [`LoraTap::SCHEDULED`].
    pub fn of_downlink(downlink: &Downlink, gateway: Option<Eui64>) -> Self {
        Self {
            freq_hz: downlink.freq_hz,
            modulation: downlink.modulation,
            sync_word: public(downlink.modulation),
            gateway,
            counter: match downlink.when {
                When::Counter(us) => Some(us),
                _ => None,
            },
            inverted: downlink.inverted,
            implicit_header: downlink.no_header == Some(true),
            crc: if downlink.no_crc == Some(true) { Crc::None } else { Crc::Unknown },
            coding_rate: downlink.coding_rate.as_ref().and_then(CodeRate::lora),
            rf_chain: downlink.rf_chain.and_then(|rf| rf.try_into().ok()).unwrap_or_default(),
            tag: Self::SCHEDULED,
            ..Self::default()
        }
    }
}

/// The sync word of LoRaWAN, for a modulation that has one of this kind.
fn public(modulation: Option<Modulation>) -> Option<u8> {
    matches!(modulation, Some(Modulation::Lora { .. })).then_some(PUBLIC)
}
