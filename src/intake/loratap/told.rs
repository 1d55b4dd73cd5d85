//! What a gateway says of a frame, as a header.

use super::{LoraTap, PUBLIC};
use crate::{
    id::Eui64,
    intake::event::{CodeRate, Crc, Event, Heard, HowFound, Ordered, What, When},
    radio::Modulation,
};

impl LoraTap {
    /// Returns the header of an event's frame, by all that is known of it.
    pub fn of(event: &Event) -> Self {
        match (&event.what, event.found) {
            (What::Heard(heard), found) if found != HowFound::Alone => {
                Self::of_heard(heard, event.gateway)
            }
            (What::Ordered(ordered), found) if found != HowFound::Alone => {
                Self::of_ordered(ordered, event.gateway)
            }
            _ => Self::unheard(),
        }
    }

    /// Returns the header of a frame of which nothing is known, not even whether it was on the air.
    pub fn unheard() -> Self {
        Self { tag: Self::SCHEDULED, ..Self::default() }
    }

    /// Returns the header of a frame that a gateway heard.
    fn of_heard(heard: &Heard, gateway: Option<Eui64>) -> Self {
        Self {
            freq_hz: heard.freq_hz,
            modulation: heard.modulation,
            rssi: heard.rssi,
            snr: heard.snr,
            sync_word: public(heard.modulation),
            gateway,
            counter: heard.tmst,
            // A gateway's receivers hear no other polarity.
            inverted: Some(false),
            crc: heard.crc,
            coding_rate: heard.coding_rate.as_ref().and_then(CodeRate::lora),
            chan: heard.chan.and_then(|chan| chan.try_into().ok()),
            ..Self::default()
        }
    }

    /// Returns the header of a frame that a gateway is to send, tagged as [`LoraTap::SCHEDULED`].
    fn of_ordered(ordered: &Ordered, gateway: Option<Eui64>) -> Self {
        Self {
            freq_hz: ordered.freq_hz,
            modulation: ordered.modulation,
            sync_word: public(ordered.modulation),
            gateway,
            counter: match ordered.when {
                When::Counter(us) => Some(us),
                _ => None,
            },
            inverted: ordered.inverted,
            implicit_header: ordered.no_header == Some(true),
            crc: if ordered.no_crc == Some(true) { Crc::None } else { Crc::Unknown },
            coding_rate: ordered.coding_rate.as_ref().and_then(CodeRate::lora),
            rf_chain: ordered.rf_chain.and_then(|rf| rf.try_into().ok()).unwrap_or_default(),
            tag: Self::SCHEDULED,
            ..Self::default()
        }
    }
}

/// The sync word of LoRaWAN, for a modulation that has one of this kind.
fn public(modulation: Option<Modulation>) -> Option<u8> {
    matches!(modulation, Some(Modulation::Lora { .. })).then_some(PUBLIC)
}
