//! LoRaTap: what a receiver of LoRa writes before a frame in a pcap, link type 270.
//!
//! Most significant octet first; `lt_length` says where the PHYPayload begins.
//!
//! | octet | size | member | coding |
//! |-------|------|--------|--------|
//! | 0 | 1 | lt_version | 0 or 1 |
//! | 2 | 2 | lt_length | 15 in version 0, 35 in version 1 |
//! | 4 | 4 | frequency | Hz |
//! | 8 | 1 | bandwidth | steps of 125 kHz |
//! | 9 | 1 | sf | 5 to 12 |
//! | 10 | 1 | packet_rssi | dBm = -139 + x where SNR is not negative, else -139 + x / 4; 255 is not known |
//! | 11, 12 | 1, 1 | max_rssi, current_rssi | dBm = -139 + x; not read |
//! | 13 | 1 | snr | dB = x / 4, signed |
//! | 14 | 1 | sync_word | 34 in LoRaWAN's public networks |
//! | 15 | 8 | source_gw | version 1 from here on: the gateway's EUI |
//! | 23 | 4 | timestamp | the concentrator's counter, microseconds |
//! | 27 | 1 | flags | 01 FSK, 02 inverted, 04 implicit header, 08 CRC ok, 10 CRC bad, 20 no CRC |
//! | 28 | 1 | cr | 5 to 8 of 4/5 to 4/8 |
//! | 29 | 2 | datarate | of FSK, bit/s |
//! | 31, 32 | 1, 1 | if_channel, rf_chain | the gateway's own numbers |
//! | 33 | 2 | tag | free |
//!
//! Source: the header's own description (README and C header of its publisher), as the reference states it.

pub(super) mod heard;
mod told;

use super::{error::LoraTapError, event::Crc};
use crate::{
    id::Eui64,
    radio::{CodingRate, Modulation},
};

/// What a receiver says of a frame in LoRaTap.
///
/// A member of which the header says nothing is `None`: it holds 0 there, or 255 as a power. Written are powers in
/// steps of 1 dB (a quarter where the SNR is negative) and SNRs in quarters, rounded to the nearest; what is out
/// of range, and a power without the SNR that its coding needs, is left out.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct LoraTap {
    /// Centre frequency, hertz.
    pub freq_hz: Option<u32>,
    /// Spreading factor and bandwidth, or bit rate.
    pub modulation: Option<Modulation>,
    /// Power of the packet, dBm.
    pub rssi: Option<f32>,
    /// Signal to noise ratio, dB.
    pub snr: Option<f32>,
    /// Sync word: 34 in LoRaWAN's public networks.
    pub sync_word: Option<u8>,
    /// The gateway.
    pub gateway: Option<Eui64>,
    /// The concentrator's counter: when a frame heard had ended, when one to be sent is to begin.
    pub counter: Option<u32>,
    /// Whether the chirps are inverted.
    pub inverted: Option<bool>,
    /// Whether the header of the physical layer is left out.
    pub implicit_header: bool,
    /// What the concentrator says of the CRC.
    pub crc: Crc,
    /// Forward error correction.
    pub coding_rate: Option<CodingRate>,
    /// The gateway's own number of the receiver.
    pub chan: Option<u8>,
    /// The gateway's own number of the radio.
    pub rf_chain: u8,
    /// Free; see [`LoraTap::SCHEDULED`].
    pub tag: u16,
}

impl LoraTap {
    /// Number of the link type in pcap files.
    pub const LINK_TYPE: u16 = 270;
    /// The tag of a frame that was not heard: a gateway was told to send it. Our own, in the field that is free.
    pub const SCHEDULED: u16 = 0x5478;

    /// Returns the header of a packet, and its PHYPayload.
    ///
    /// # Errors
    ///
    /// [`LoraTapError`].
    pub fn read(packet: &[u8]) -> Result<(Self, &[u8]), LoraTapError> {
        let present = packet.len();
        let short = |needed| LoraTapError::Short { needed, present };
        let (head, rest) = packet.split_first_chunk::<V0>().ok_or_else(|| short(V0))?;
        let &[version, _, l0, l1, f0, f1, f2, f3, bandwidth, sf, power, _, _, snr, sync] = head;
        let needed = match version {
            0 => V0,
            1 => V1,
            other => return Err(LoraTapError::Version(other)),
        };
        let stated = usize::from(u16::from_be_bytes([l0, l1]));
        if stated < needed {
            return Err(LoraTapError::Length { version, stated, needed });
        }
        let payload = packet.get(stated..).ok_or_else(|| short(stated))?;
        let snr = i8::from_be_bytes([snr]);
        let mut tap = Self {
            freq_hz: Some(u32::from_be_bytes([f0, f1, f2, f3])).filter(|hz| *hz != 0),
            modulation: lora(sf, bandwidth),
            rssi: (power != UNKNOWN).then(|| power_of(power, snr)),
            snr: (power != UNKNOWN || snr != 0).then(|| f32::from(snr) / 4.0),
            sync_word: Some(sync).filter(|word| *word != 0),
            ..Self::default()
        };
        if version == 1 {
            tap.read_more(rest.first_chunk().ok_or_else(|| short(V1))?);
        }
        Ok((tap, payload))
    }

    /// Reads what version 1 added.
    fn read_more(&mut self, more: &[u8; V1 - V0]) {
        let &[e0, e1, e2, e3, e4, e5, e6, e7, c0, c1, c2, c3, flags, cr, d0, d1, chan, rf, t0, t1] =
            more;
        let gateway = [e0, e1, e2, e3, e4, e5, e6, e7];
        self.gateway = Some(gateway).filter(|eui| *eui != [0; 8]).map(Eui64::new);
        self.counter = Some(u32::from_be_bytes([c0, c1, c2, c3])).filter(|us| *us != 0);
        if flags & FSK != 0 {
            let bit_rate = u32::from(u16::from_be_bytes([d0, d1]));
            self.modulation = (bit_rate != 0).then_some(Modulation::Fsk { bit_rate });
            self.snr = None;
        }
        // A writer that sets no flag at all says nothing of polarity.
        self.inverted = (flags != 0).then_some(flags & INVERTED != 0);
        self.implicit_header = flags & IMPLICIT != 0;
        self.crc = match (flags & CRC_OK != 0, flags & CRC_BAD != 0, flags & NO_CRC != 0) {
            (_, true, _) => Crc::Bad,
            (true, ..) => Crc::Ok,
            (.., true) => Crc::None,
            _ => Crc::Unknown,
        };
        self.coding_rate = CodingRate::of_bits(cr);
        self.chan = Some(chan).filter(|chan| *chan != UNKNOWN);
        self.rf_chain = rf;
        self.tag = u16::from_be_bytes([t0, t1]);
    }

    /// Returns the header as octets of version 1.
    pub fn octets(&self) -> Vec<u8> {
        let (sf, bandwidth, bit_rate) = match self.modulation {
            Some(Modulation::Lora { sf, bw_khz }) if bw_khz % STEP_KHZ == 0 => {
                (sf, u8::try_from(bw_khz / STEP_KHZ).unwrap_or_default(), 0)
            }
            Some(Modulation::Fsk { bit_rate }) => (0, 0, u16::try_from(bit_rate).unwrap_or(0)),
            _ => (0, 0, 0),
        };
        let fsk = matches!(self.modulation, Some(Modulation::Fsk { .. }));
        let (power, snr) = self.power_octets(fsk);
        let sync = self.sync_word.unwrap_or_default();
        let cr = self.coding_rate.map_or(0, bits_of);
        let parts: [&[u8]; 9] = [
            &[1, 0, 0, V1_LOW],
            &self.freq_hz.unwrap_or_default().to_be_bytes(),
            &[bandwidth, sf, power, UNKNOWN, UNKNOWN, snr, sync],
            &self.gateway.unwrap_or_default().octets(),
            &self.counter.unwrap_or_default().to_be_bytes(),
            &[self.flags(fsk), cr],
            &bit_rate.to_be_bytes(),
            &[self.chan.unwrap_or(UNKNOWN), self.rf_chain],
            &self.tag.to_be_bytes(),
        ];
        parts.concat()
    }

    const fn flags(&self, fsk: bool) -> u8 {
        let crc = match self.crc {
            Crc::Ok => CRC_OK,
            Crc::Bad => CRC_BAD,
            Crc::None => NO_CRC,
            Crc::Unknown => 0,
        };
        let inverted = if matches!(self.inverted, Some(true)) { INVERTED } else { 0 };
        let implicit = if self.implicit_header { IMPLICIT } else { 0 };
        let fsk = if fsk { FSK } else { 0 };
        fsk | inverted | implicit | crc
    }

    /// Returns packet_rssi and snr.
    fn power_octets(&self, fsk: bool) -> (u8, u8) {
        let coded = self.snr.and_then(|snr| whole(snr * 4.0, -128.0, 127.0));
        let snr = match (fsk, coded) {
            (true, _) => 0,
            (false, Some(snr)) => snr,
            (false, None) => return (UNKNOWN, 0),
        };
        let steps = if snr < 0 { 4.0 } else { 1.0 };
        let power = self.rssi.and_then(|dbm| whole((dbm - ZERO_DBM) * steps, 0.0, 254.0));
        let power = power.and_then(|x| u8::try_from(x).ok()).unwrap_or(UNKNOWN);
        let [snr] = i8::try_from(snr).unwrap_or_default().to_be_bytes();
        (power, snr)
    }
}

/// Returns the number nearest to a value, if it lies between the two.
#[expect(clippy::cast_possible_truncation, reason = "it lies between two small numbers")]
fn whole(value: f32, least: f32, most: f32) -> Option<i16> {
    let nearest = value.round();
    (least..=most).contains(&nearest).then_some(nearest as i16)
}

fn power_of(power: u8, snr: i8) -> f32 {
    let step = if snr < 0 { 0.25 } else { 1.0 };
    ZERO_DBM + f32::from(power) * step
}

fn lora(sf: u8, bandwidth: u8) -> Option<Modulation> {
    let known = (5..=12).contains(&sf) && bandwidth != 0;
    known.then(|| Modulation::Lora { sf, bw_khz: u16::from(bandwidth) * STEP_KHZ })
}

const fn bits_of(rate: CodingRate) -> u8 {
    match rate {
        CodingRate::Cr45 => 5,
        CodingRate::Cr46 => 6,
        CodingRate::Cr47 => 7,
        CodingRate::Cr48 => 8,
    }
}

/// Octets of the header in version 0.
const V0: usize = 15;
/// Octets of the header in version 1.
const V1: usize = V1_LOW as usize;
/// The same in one octet.
const V1_LOW: u8 = 35;
/// A power that is not known; for our writer also a channel that is not.
const UNKNOWN: u8 = 255;
const ZERO_DBM: f32 = -139.0;
const STEP_KHZ: u16 = 125;
/// Sync word of LoRaWAN's public networks.
const PUBLIC: u8 = 0x34;
const FSK: u8 = 0x01;
const INVERTED: u8 = 0x02;
const IMPLICIT: u8 = 0x04;
const CRC_OK: u8 = 0x08;
const CRC_BAD: u8 = 0x10;
const NO_CRC: u8 = 0x20;

#[cfg(test)]
mod tests {
    use super::*;

    const SF9: Option<Modulation> = Some(Modulation::Lora { sf: 9, bw_khz: 125 });

    fn sample() -> LoraTap {
        LoraTap {
            freq_hz: Some(868_300_000),
            modulation: SF9,
            rssi: Some(-84.0),
            snr: Some(7.5),
            sync_word: Some(0x34),
            gateway: Some(Eui64::new([2, 0, 0, 0xFF, 0xFE, 0xA0, 0x94, 0x42])),
            counter: Some(369_601_898),
            inverted: Some(false),
            crc: Crc::Ok,
            coding_rate: Some(CodingRate::Cr45),
            chan: Some(1),
            rf_chain: 1,
            ..LoraTap::default()
        }
    }

    // Laid out by hand from the table of the header; -84 dBm is 55 above -139, 7.5 dB is 30 quarters.
    #[test]
    fn every_member_stands_where_the_header_has_it() {
        let octets = sample().octets();
        let text = hex::encode(octets);
        let wanted = [
            "0100",
            "0023",
            &format!("{:08x}", 868_300_000),
            "01",
            "09",
            "37",
            "ff",
            "ff",
            "1e",
            "34",
            "020000fffea09442",
            &format!("{:08x}", 369_601_898),
            "08",
            "05",
            "0000",
            "01",
            "01",
            "0000",
        ];
        assert_eq!(text, wanted.concat());
    }

    #[test]
    fn a_header_reads_what_it_wrote() {
        let fsk = LoraTap {
            modulation: Some(Modulation::Fsk { bit_rate: 50_000 }),
            snr: None,
            sync_word: None,
            ..sample()
        };
        let below = LoraTap { rssi: Some(-119.25), snr: Some(-12.75), ..sample() };
        let sent = LoraTap {
            rssi: None,
            snr: None,
            inverted: Some(true),
            crc: Crc::None,
            chan: None,
            tag: LoraTap::SCHEDULED,
            ..sample()
        };
        for tap in [sample(), fsk, below, sent, LoraTap { crc: Crc::Bad, ..sample() }] {
            let packet = [&tap.octets()[..], b"\x40payload"].concat();
            assert_eq!(LoraTap::read(&packet), Ok((tap, &b"\x40payload"[..])));
        }
        let (empty, rest) =
            LoraTap::read(&LoraTap::default().octets()).map(|(t, r)| (t, r.len())).unwrap();
        assert_eq!((empty, rest), (LoraTap::default(), 0));
    }

    #[test]
    fn powers_are_rounded_to_the_steps_and_out_of_range_is_not_known() {
        let read = |rssi, snr| {
            let tap = LoraTap { rssi, snr, ..sample() };
            LoraTap::read(&tap.octets()).map(|(tap, _)| (tap.rssi, tap.snr)).unwrap()
        };
        assert_eq!(read(Some(-83.6), Some(7.4)), (Some(-84.0), Some(7.5)));
        assert_eq!(read(Some(-118.1), Some(-7.4)), (Some(-118.0), Some(-7.5)));
        // -0.1 dB is written as 0, and with it the power in whole decibels
        assert_eq!(read(Some(-90.3), Some(-0.1)), (Some(-90.0), Some(0.0)));
        assert_eq!(read(Some(-60.0), Some(-3.0)), (None, Some(-3.0)), "more than 254 quarters");
        assert_eq!(read(Some(-140.0), Some(3.0)), (None, Some(3.0)));
        assert_eq!(read(Some(-80.0), None), (None, None), "the coding needs the SNR");
        assert_eq!(read(Some(f32::NAN), Some(f32::INFINITY)), (None, None));
    }

    #[test]
    fn version_0_ends_after_the_sync_word() {
        let mut packet = hex::decode("0000000f33c1f2e0010937ffff1e3440aabb").unwrap();
        let (tap, payload) = LoraTap::read(&packet).map(|(t, p)| (t, p.to_vec())).unwrap();
        assert_eq!(payload, [0x40, 0xAA, 0xBB]);
        assert_eq!((tap.rssi, tap.snr, tap.modulation), (Some(-84.0), Some(7.5), SF9));
        assert_eq!((tap.gateway, tap.counter, tap.inverted), (None, None, None));
        packet[0] = 2;
        assert_eq!(LoraTap::read(&packet).unwrap_err(), LoraTapError::Version(2));
        packet[0] = 1;
        let length = LoraTapError::Length { version: 1, stated: 15, needed: 35 };
        assert_eq!(LoraTap::read(&packet).unwrap_err(), length);
        packet[3] = 40;
        let short = LoraTapError::Short { needed: 40, present: 18 };
        assert_eq!(LoraTap::read(&packet).unwrap_err(), short);
    }

    #[test]
    fn fields_that_a_later_writer_appends_are_passed_over() {
        let mut octets = sample().octets();
        octets[3] = 37;
        octets.extend_from_slice(b"xx\x40");
        assert_eq!(LoraTap::read(&octets), Ok((sample(), &b"\x40"[..])));
    }
}
