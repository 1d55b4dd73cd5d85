//! Class B beacons and the ping slots that they set the clock for.
//!
//! A beacon is no PHYPayload: no MHDR, no MIC, implicit header, no CRC of the radio, its chirps not
//! inverted. It carries two CRCs of its own and goes out every 128 s (LoRaWAN 1.0.4, 13.4; 1.1, 15).
//!
//! | octets | 1..5 | 4 | 2 | 7 | 0..3 | 2 |
//! |--------|------|---|---|---|------|---|
//! |        | RFU (1.0.4: the last one is Param) | Time | CRC of all before | GwSpecific | RFU | CRC of GwSpecific and RFU |
//!
//! How many RFU octets depends on the spreading factor, and 19 octets can be split in two ways: the
//! CRCs tell. Everything is sent least significant octet first.

mod ping;

use alloc::{borrow::ToOwned, format, string::String, vec::Vec};
use core::{fmt, ops::Range};

use nom::{
    Parser,
    bytes::complete::take,
    combinator::consumed,
    number::complete::{le_u32, u8},
};

pub use ping::{
    BEACON_PERIOD_S, Periodicity, beacon_channel, ping_channel, ping_offset, ping_slots,
};

use super::input::{Input, array};
use crate::{frame::MacVersion, gps::GpsTime, id::NetId, words::Count};

/// Why octets are no beacon.
#[derive(Clone, Copy, Debug, Eq, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum BeaconError {
    /// No beacon has this size.
    #[error("{}: beacons have 17, 19, 21 or 23", Count(*.found, "byte"))]
    Size {
        /// Octets given.
        found: usize,
    },
}

/// How the octets of a beacon are divided.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct Layout {
    /// Octets before Time: RFU, Param in 1.0.4, NetID in 1.0.2.
    pub head: u8,
    /// Octets of the first CRC: 2; in 1.0.2 only the low one was sent.
    pub first_crc: u8,
    /// RFU octets after GwSpecific.
    pub tail: u8,
    /// Who sends such beacons.
    pub used_by: &'static str,
}

/// A beacon, split. Nothing is checked away: see [`Beacon::faults`].
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct Beacon {
    /// The octets as sent.
    pub octets: Vec<u8>,
    /// How they are divided.
    pub layout: Layout,
    /// Octets before Time: RFU and Param, or NetID in 1.0.2.
    pub head: Vec<u8>,
    /// Param, the last octet of the head, where the version has it (1.0.4) or is not known.
    pub param: Option<Param>,
    /// The GPS time the beacon goes out at, without the 1.5 ms that it is sent later.
    pub time: GpsTime,
    /// The CRC of head and Time.
    pub first_crc: BeaconCrc,
    /// InfoDesc, the first octet of GwSpecific.
    pub info_desc: u8,
    /// What the six octets after InfoDesc say.
    pub info: Info,
    /// RFU octets after GwSpecific.
    pub tail: Vec<u8>,
    /// The CRC of GwSpecific and the RFU octets after it.
    pub second_crc: BeaconCrc,
}

/// Param of a 1.0.4 beacon: bits 7..2 RFU, 1..0 Prec.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct Param(pub u8);

/// One CRC-16 of a beacon: polynomial 1021, start 0, most significant bit first.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct BeaconCrc {
    /// The value received; of a CRC of one octet the low half.
    pub received: u16,
    /// The value computed, cut to what is sent.
    pub computed: u16,
}

/// The gateway's own part of a beacon.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Info {
    /// InfoDesc 0, 1, 2: where an antenna stands.
    Antenna {
        /// Which antenna, from 1.
        antenna: u8,
        /// Latitude, 24 bits in two's complement: -2^23 is 90 degrees south.
        lat_raw: i32,
        /// Longitude, 24 bits in two's complement: -2^23 is 180 degrees west.
        lng_raw: i32,
    },
    /// InfoDesc 3 since LoRaWAN 1.0.3 (not 1.1): who sends.
    Gateway {
        /// The network.
        net_id: NetId,
        /// The gateway, 24 bits, numbered by the network.
        gateway_id: u32,
    },
    /// InfoDesc 4 to 127, and 3 before 1.0.3 and in 1.1: RFU.
    Rfu([u8; 6]),
    /// InfoDesc 128 to 255: the network's own use.
    Network([u8; 6]),
}

/// Something in a beacon that the standard forbids, and where.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct BeaconFault {
    /// Octets of the beacon that it concerns.
    pub at: Range<usize>,
    /// What is wrong, in words.
    pub what: String,
}

/// Splits a beacon.
///
/// Where the size leaves a choice, the layout with more right CRCs is taken, else the commoner one.
/// `version` decides whether the head ends with Param and whether InfoDesc 3 has a meaning.
///
/// # Errors
///
/// When no beacon has as many octets.
pub fn decode(octets: &[u8], version: Option<MacVersion>) -> Result<Beacon, BeaconError> {
    let mut best: Option<(u32, Beacon)> = None;
    for layout in LAYOUTS.iter().filter(|l| l.size() == octets.len()) {
        let Some(beacon) = split(octets, *layout, version) else { continue };
        let right = u32::from(beacon.first_crc.holds()) + u32::from(beacon.second_crc.holds());
        if best.as_ref().is_none_or(|(most, _)| right > *most) {
            best = Some((right, beacon));
        }
    }
    best.map(|(_, beacon)| beacon).ok_or(BeaconError::Size { found: octets.len() })
}

/// Returns the CRC-16 of beacons over octets: polynomial x^16 + x^12 + x^5 + 1, start value 0, most
/// significant bit first, nothing added at the end. It is sent low octet first.
pub fn crc16(octets: &[u8]) -> u16 {
    octets.iter().fold(0, |crc, octet| {
        (0..8).fold(crc ^ (u16::from(*octet) << 8), |crc: u16, _| {
            if crc & 0x8000 == 0 { crc << 1 } else { (crc << 1) ^ 0x1021 }
        })
    })
}

fn split(octets: &[u8], layout: Layout, version: Option<MacVersion>) -> Option<Beacon> {
    let (_, (first_part, second_part)) = parts(layout).parse(Input::new(octets)).ok()?;
    let Timed { head, time, crc: first_crc } = first_part;
    let GwSpecific { info_desc, info, tail, crc: second_crc } = second_part;
    let is_net_id = layout.first_crc == 1;
    let has_param = !is_net_id && version.is_none_or(|v| v == MacVersion::V1_0_4);
    Some(Beacon {
        octets: octets.to_vec(),
        layout,
        head: head.octets().to_vec(),
        param: head.octets().last().copied().map(Param).filter(|_| has_param),
        time: GpsTime::from_seconds(time),
        first_crc,
        info_desc,
        info: Info::new(info_desc, info, version),
        tail: tail.octets().to_vec(),
        second_crc,
    })
}

/// What the first CRC covers, and the CRC.
struct Timed<'a> {
    head: Input<'a>,
    time: u32,
    crc: BeaconCrc,
}

/// What the second CRC covers, and the CRC.
struct GwSpecific<'a> {
    info_desc: u8,
    info: [u8; 6],
    tail: Input<'a>,
    crc: BeaconCrc,
}

/// RFU 1..5 | Time 4 | CRC 1..2, then GwSpecific 7 (InfoDesc 1, Info 6) | RFU 0..3 | CRC 2.
fn parts<'a>(
    layout: Layout,
) -> impl Parser<Input<'a>, Output = (Timed<'a>, GwSpecific<'a>), Error = ()> {
    let timed = checked((take(layout.head), le_u32), layout.first_crc)
        .map(|((head, time), crc)| Timed { head, time, crc });
    let specific = checked((u8, array, take(layout.tail)), 2)
        .map(|((info_desc, info, tail), crc)| GwSpecific { info_desc, info, tail, crc });
    (timed, specific)
}

/// Reads what a CRC covers, and after it the CRC of so many bytes.
fn checked<'a, T>(
    covered: impl Parser<Input<'a>, Output = T, Error = ()>,
    crc: u8,
) -> impl Parser<Input<'a>, Output = (T, BeaconCrc), Error = ()> {
    (consumed(covered), take(crc)).map(|((octets, value), crc): ((Input<'_>, T), Input<'_>)| {
        (value, BeaconCrc::of(octets.octets(), crc.octets()))
    })
}

impl Layout {
    /// Returns the octets of a whole beacon.
    pub const fn size(self) -> usize {
        self.head as usize + 4 + self.first_crc as usize + 7 + self.tail as usize + 2
    }
}

impl Param {
    /// Returns Prec, bits 1..0.
    pub const fn prec(self) -> u8 {
        self.0 & 0x03
    }

    /// Returns how exact the beacon's time is, in microseconds: 10^Prec.
    pub const fn precision_us(self) -> u32 {
        10u32.pow(self.prec() as u32)
    }
}

impl BeaconCrc {
    fn of(octets: &[u8], received: &[u8]) -> Self {
        let whole = crc16(octets);
        let cut = if received.len() == 1 { whole & 0xFF } else { whole };
        let received = received.iter().rev().fold(0, |acc, octet| (acc << 8) | u16::from(*octet));
        Self { received, computed: cut }
    }

    /// Returns whether the value received is the right one.
    pub const fn holds(self) -> bool {
        self.received == self.computed
    }
}

impl Info {
    fn new(desc: u8, octets: [u8; 6], version: Option<MacVersion>) -> Self {
        let [first @ .., d, e, f] = octets;
        let second = [d, e, f];
        let has_gateway =
            version.is_none_or(|v| v == MacVersion::V1_0_3 || v == MacVersion::V1_0_4);
        match desc {
            0..=2 => Self::Antenna {
                antenna: desc + 1,
                lat_raw: signed24(first),
                lng_raw: signed24(second),
            },
            3 if has_gateway => Self::Gateway {
                net_id: NetId::from_wire(first),
                gateway_id: u32::from_le_bytes([d, e, f, 0]),
            },
            3..=127 => Self::Rfu(octets),
            128.. => Self::Network(octets),
        }
    }

    /// Returns latitude and longitude in degrees, north and east positive.
    pub fn degrees(self) -> Option<(f64, f64)> {
        match self {
            Self::Antenna { lat_raw, lng_raw, .. } => {
                Some((f64::from(lat_raw) * 90.0 / FULL, f64::from(lng_raw) * 180.0 / FULL))
            }
            _ => None,
        }
    }

    /// Returns latitude and longitude as they would be had the gateway sent longitude first, which
    /// a public gateway daemon does.
    pub fn degrees_if_swapped(self) -> Option<(f64, f64)> {
        match self {
            Self::Antenna { antenna, lat_raw, lng_raw } => {
                Self::Antenna { antenna, lat_raw: lng_raw, lng_raw: lat_raw }.degrees()
            }
            _ => None,
        }
    }
}

impl Beacon {
    /// Returns the name and place of every part, in order; parts of no octets are left out.
    pub fn parts(&self) -> Vec<(&'static str, Range<usize>)> {
        let head = usize::from(self.layout.head);
        let sizes = [
            if self.layout.first_crc == 1 { ("NetID", head) } else { ("RFU", head) },
            ("Time", 4),
            ("CRC", self.layout.first_crc.into()),
            ("GwSpecific", 7),
            ("RFU", self.layout.tail.into()),
            ("CRC", 2),
        ];
        let mut at = 0;
        let mut parts = Vec::new();
        for (name, size) in sizes.into_iter().filter(|(_, size)| *size > 0) {
            parts.push((name, at..at + size));
            at += size;
        }
        if let (Some(_), Some((_, rfu))) = (self.param, parts.first_mut()) {
            rfu.end -= 1;
            let param = rfu.end..rfu.end + 1;
            let no_rfu = rfu.start == rfu.end;
            parts.insert(1, ("Param", param));
            if no_rfu {
                parts.remove(0);
            }
        }
        parts
    }

    /// Returns everything that the standard forbids in this beacon.
    pub fn faults(&self) -> Vec<BeaconFault> {
        let head = usize::from(self.layout.head);
        let specific = head + 4 + usize::from(self.layout.first_crc);
        let end = self.octets.len();
        let mut faults = Vec::new();
        let mut fault = |at, what| faults.push(BeaconFault { at, what });
        let rfu = head - usize::from(self.param.is_some());
        if self.layout.first_crc == 2 && self.head.iter().take(rfu).any(|o| *o != 0) {
            fault(0..rfu, "RFU bytes are not 0".to_owned());
        }
        if let Some(param) = self.param.filter(|p| p.0 > 3) {
            fault(rfu..head, format!("RFU bits of Param {:02X} are not 0", param.0));
        }
        if !self.time.seconds().is_multiple_of(BEACON_PERIOD_S) {
            let what = "Time is not a multiple of 128 s, as the time of a beacon must be";
            fault(head..head + 4, what.to_owned());
        }
        if !self.first_crc.holds() {
            fault(head + 4..specific, format!("the first CRC fails: {}", self.first_crc));
        }
        if let Info::Rfu(_) = self.info {
            fault(specific..specific + 1, format!("InfoDesc {} is RFU", self.info_desc));
        }
        if self.tail.iter().any(|o| *o != 0) {
            fault(specific + 7..end - 2, "RFU bytes are not 0".to_owned());
        }
        if !self.second_crc.holds() {
            fault(end - 2..end, format!("the second CRC fails: {}", self.second_crc));
        }
        faults
    }
}

impl fmt::Display for BeaconCrc {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:04X} received, {:04X} computed", self.received, self.computed)
    }
}

impl fmt::Display for BeaconFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.what)
    }
}

fn signed24([a, b, c]: [u8; 3]) -> i32 {
    // The sign bit goes to the top, and comes down again with its copies.
    i32::from_le_bytes([0, a, b, c]) >> 8
}

/// What 24-bit coordinates count to: 90 degrees of latitude, 180 of longitude.
const FULL: f64 = 8_388_608.0;

/// Every layout, of one size the commoner first. Sources: LoRaWAN 1.0.4, 13.4; RP002 1.0.1, class B
/// chapters; the split of 21 octets is inferred from its neighbours; the last one is LoRaWAN 1.0.2.
static LAYOUTS: [Layout; 6] = [
    Layout {
        head: 2,
        first_crc: 2,
        tail: 0,
        used_by: "SF9: EU868, EU433, CN779, AS923, KR920, RU864",
    },
    Layout { head: 3, first_crc: 2, tail: 1, used_by: "SF10: CN470; US915 and AU915 in old plans" },
    Layout { head: 1, first_crc: 2, tail: 3, used_by: "SF8: IN865" },
    Layout { head: 4, first_crc: 2, tail: 2, used_by: "SF11: no region" },
    Layout { head: 5, first_crc: 2, tail: 3, used_by: "SF12: US915, AU915" },
    Layout { head: 3, first_crc: 1, tail: 0, used_by: "LoRaWAN 1.0.2, NetID first" },
];
