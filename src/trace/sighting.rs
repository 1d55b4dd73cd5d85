//! One frame as one gateway heard or sent it, and the transmission that several heard.

use jiff::Timestamp;

use crate::{
    frame::{FType, Mhdr},
    id::Eui64,
    intake::{Heard, Ordered, Position, TxError, When, Witness},
    radio::{Modulation, demodulation_floor},
};

/// Where in the captures something is; compared by its place in time.
#[derive(Clone, Copy, Debug, Default, Eq, Hash, Ord, PartialEq, PartialOrd)]
pub struct Line {
    /// Which line or packet of all in the order of time.
    pub order: u64,
    /// Where in the captures.
    pub place: Position,
}

impl std::fmt::Display for Line {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        self.place.fmt(f)
    }
}

/// A frame as one gateway heard it.
#[derive(Clone, Debug)]
pub struct Sighting {
    /// Where it stands.
    pub line: Line,
    /// When the datagram was captured.
    pub at: Option<Timestamp>,
    /// The gateway.
    pub gateway: Option<Eui64>,
    /// The gateway's counter at the end of the frame, in microseconds, modulo 2^32.
    pub tmst: Option<u32>,
    /// GPS time at the end of the frame, in milliseconds.
    pub tmms: Option<u64>,
    /// Frequency in Hz.
    pub freq_hz: Option<u32>,
    /// Modulation.
    pub modulation: Option<Modulation>,
    /// RSSI in dBm.
    pub rssi: Option<f32>,
    /// SNR in dB.
    pub snr: Option<f32>,
}

impl Sighting {
    pub(crate) fn new(
        line: Line,
        time: Option<Timestamp>,
        gateway: Option<Eui64>,
        heard: &Heard,
    ) -> Self {
        Self {
            line,
            at: time.or(heard.time),
            gateway,
            tmst: heard.tmst,
            tmms: heard.tmms,
            freq_hz: heard.freq_hz,
            modulation: heard.modulation,
            rssi: heard.rssi,
            snr: heard.snr,
        }
    }

    /// Returns how far the SNR lies above the demodulation floor, in dB.
    pub fn margin(&self) -> Option<f32> {
        let Some(Modulation::Lora { sf, .. }) = self.modulation else { return None };
        Some(self.snr? - demodulation_floor(sf)?)
    }
}

/// One transmission of a node: the same octets, as every gateway heard them.
#[derive(Clone, Debug)]
pub struct Transmission {
    /// The PHYPayload.
    pub octets: Box<[u8]>,
    first: Sighting,
    copies: Vec<Sighting>,
}

impl Transmission {
    pub(crate) fn new(octets: impl Into<Box<[u8]>>, first: Sighting) -> Self {
        Self { octets: octets.into(), first, copies: Vec::new() }
    }

    pub(crate) fn add(&mut self, copy: Sighting) {
        self.copies.push(copy);
    }

    /// Returns the type that MHDR states.
    pub fn ftype(&self) -> Option<FType> {
        self.octets.first().map(|octet| Mhdr(*octet).ftype())
    }

    /// Returns the first sighting.
    pub const fn first(&self) -> &Sighting {
        &self.first
    }

    /// Returns who heard it, in order of arrival.
    pub fn sightings(&self) -> impl DoubleEndedIterator<Item = &Sighting> + Clone {
        std::iter::once(&self.first).chain(&self.copies)
    }

    /// Returns one sighting by its place in the order of arrival.
    pub fn sighting(&self, place: usize) -> Option<&Sighting> {
        if place == 0 { Some(&self.first) } else { self.copies.get(place - 1) }
    }

    /// Returns when it was first heard.
    pub const fn at(&self) -> Option<Timestamp> {
        self.first.at
    }

    /// Returns the sighting with the greatest link margin, or the first where none is known.
    pub fn best(&self) -> &Sighting {
        let margin = |s: &&Sighting| s.margin().unwrap_or(f32::MIN);
        self.sightings().max_by(|a, b| margin(a).total_cmp(&margin(b))).unwrap_or(&self.first)
    }

    /// Returns two sightings of one gateway on different channels: the stronger, then its ghost.
    pub fn ghost(&self) -> Option<(&Sighting, &Sighting)> {
        self.sightings().enumerate().find_map(|(i, a)| {
            let b = self.sightings().skip(i + 1).find(|b| {
                b.gateway == a.gateway && a.gateway.is_some() && b.freq_hz != a.freq_hz
            })?;
            Some(if a.rssi >= b.rssi { (a, b) } else { (b, a) })
        })
    }
}

/// A frame handed to a gateway for transmission.
#[derive(Clone, Debug)]
pub struct Sending {
    /// Where it stands.
    pub line: Line,
    /// When the gateway got it.
    pub at: Option<Timestamp>,
    /// The gateway.
    pub gateway: Option<Eui64>,
    /// The PHYPayload.
    pub octets: Box<[u8]>,
    /// When it is to be sent.
    pub when: When,
    /// Whether the counter that its time is meant by began anew since: the gateway drops it.
    pub gone: bool,
    /// The frequencies between which the gateway was set to send then, hertz, where that is known.
    pub range_hz: Option<(u32, u32)>,
    /// Frequency in Hz.
    pub freq_hz: Option<u32>,
    /// Modulation.
    pub modulation: Option<Modulation>,
    /// Power in dBm.
    pub power_dbm: Option<f32>,
    /// Whether the chirps are inverted, as they must be towards a node.
    pub inverted: Option<bool>,
    /// Token of the datagram.
    pub token: Option<u16>,
    /// Whether it is to be sent only where the one before it is not.
    pub alternative: bool,
    /// What the gateway said to it.
    pub ack: Option<Ack>,
}

/// What a gateway said to a frame that it was to send.
#[derive(Clone, Debug)]
pub struct Ack {
    /// Where it stands.
    pub line: Line,
    /// When.
    pub at: Option<Timestamp>,
    /// Its word.
    pub error: TxError,
    /// A warning beside a frame that was taken.
    pub warn: Option<TxError>,
    /// Who said it.
    pub by: Witness,
}

impl Sending {
    pub(crate) fn new(
        line: Line,
        at: Option<Timestamp>,
        gateway: Option<Eui64>,
        token: Option<u16>,
        ordered: &Ordered,
    ) -> Self {
        Self {
            line,
            at,
            gateway,
            octets: ordered.octets().into(),
            when: ordered.when,
            gone: ordered.gone,
            range_hz: None,
            freq_hz: ordered.freq_hz,
            modulation: ordered.modulation,
            power_dbm: ordered.power_dbm,
            inverted: ordered.inverted,
            token,
            alternative: ordered.alternative,
            ack: None,
        }
    }

    /// Returns the error, if the gateway refused the frame.
    pub fn refusal(&self) -> Option<&TxError> {
        self.ack.as_ref().map(|ack| &ack.error).filter(|e| **e != TxError::None)
    }

    /// Returns whether the gateway is known to have taken the frame.
    pub fn taken(&self) -> bool {
        self.ack.as_ref().is_some_and(|ack| ack.error == TxError::None)
    }

    /// Returns microseconds from a sighting on the same gateway to the slot, modulo 2^32.
    pub fn slot_after(&self, sighting: &Sighting) -> Option<u32> {
        let When::Counter(slot) = self.when else { return None };
        (self.gateway == sighting.gateway).then_some(slot.wrapping_sub(sighting.tmst?))
    }

    /// Returns the frequencies between which the gateway may send, where what is asked is outside.
    pub fn range_exceeded(&self) -> Option<(u32, u32)> {
        let (low, high) = self.range_hz?;
        (!(low..=high).contains(&self.freq_hz?)).then_some((low, high))
    }

    /// Returns milliseconds from a sighting to the slot, both by GPS time.
    pub fn gps_after(&self, sighting: &Sighting) -> Option<i64> {
        let When::Gps(slot) = self.when else { return None };
        i64::try_from(slot).ok()?.checked_sub(i64::try_from(sighting.tmms?).ok()?)
    }

    /// Returns microseconds from a sighting to the arrival of this frame at the gateway.
    ///
    /// Both times are those of the capture, so that the way of the uplink counts as well.
    pub fn arrival_after(&self, sighting: &Sighting) -> Option<i64> {
        Some(self.at?.as_microsecond() - sighting.at?.as_microsecond())
    }
}
