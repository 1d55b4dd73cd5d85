//! A frame that was found, with what stands about it, as a datagram.

use jiff::Timestamp;

use super::{Prefix, zoneless};
use crate::{
    frame::{Direction, Mhdr},
    id::Eui64,
    intake::{Crc, Datagram, Downlink, Kind, TxAck, TxError, Uplink, When},
    radio::Modulation,
};

/// A frame or an acknowledgement, and what was said of it.
#[derive(Clone, Debug, Default)]
pub(super) struct Found {
    pub(super) octets: Vec<u8>,
    pub(super) at: Option<Timestamp>,
    pub(super) gateway: Option<Eui64>,
    pub(super) freq_hz: Option<u32>,
    pub(super) modulation: Option<Modulation>,
    pub(super) rssi: Option<f32>,
    pub(super) snr: Option<f32>,
    pub(super) crc: Crc,
    pub(super) counter: Option<u32>,
    /// Microseconds after the counter at which a downlink is sent.
    pub(super) delay_us: Option<u32>,
    pub(super) at_once: bool,
    pub(super) power_dbm: Option<f32>,
    pub(super) inverted: Option<bool>,
    pub(super) token: Option<u16>,
    /// What a gateway says of a frame it was to send; there are no octets then.
    pub(super) status: Option<TxError>,
}

impl Found {
    pub(super) fn of(octets: Vec<u8>) -> Self {
        Self { octets, ..Self::default() }
    }

    pub(super) fn datagram(self, prefix: &Prefix) -> Datagram {
        let zoneless = self.at.is_none() && prefix.zoneless;
        let (at, gateway) = (self.at.or(prefix.at), self.gateway.or(prefix.gateway));
        let mut datagram = Datagram { at, gateway, ..self.bare() };
        if zoneless {
            datagram.notes.push(self::zoneless());
        }
        datagram
    }

    fn bare(self) -> Datagram {
        let mut datagram = Datagram::new(Kind::PushData);
        datagram.token = self.token;
        if let Some(error) = self.status {
            datagram.kind = Kind::TxAck;
            datagram.ack = Some(TxAck { error, ..TxAck::default() });
            return datagram;
        }
        let mhdr = self.octets.first().map(|octet| Mhdr(*octet));
        if mhdr.and_then(|mhdr| mhdr.ftype().direction()) == Some(Direction::Downlink) {
            let when = match (self.at_once, self.counter, self.delay_us) {
                (true, ..) => When::Immediate,
                (false, Some(counter), delay) => {
                    When::Counter(counter.wrapping_add(delay.unwrap_or_default()))
                }
                (false, None, _) => When::Unsaid,
            };
            datagram.kind = Kind::PullResp;
            datagram.txpk = Some(Downlink {
                octets: self.octets,
                when,
                time: None,
                freq_hz: self.freq_hz,
                modulation: self.modulation,
                coding_rate: None,
                power_dbm: self.power_dbm,
                inverted: self.inverted,
                no_crc: None,
                no_header: None,
                preamble: None,
                rf_chain: None,
                deviation_hz: None,
            });
            return datagram;
        }
        datagram.token = None;
        datagram.rxpk.push(Uplink {
            octets: self.octets,
            tmst: self.counter,
            tmms: None,
            time: None,
            freq_hz: self.freq_hz,
            modulation: self.modulation,
            coding_rate: None,
            chan: None,
            rssi: self.rssi,
            snr: self.snr,
            crc: self.crc,
            index: 0,
        });
        datagram
    }
}

/// Returns a frame that stands by itself as a datagram of which nothing but its place is known: its
/// MHDR says which way it went.
pub fn bare_frame(octets: Vec<u8>, line: u64) -> Datagram {
    Datagram { line, ..Found::of(octets).bare() }
}
