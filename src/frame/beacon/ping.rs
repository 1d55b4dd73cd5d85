//! Ping slots: when and where a class B node listens between two beacons.
//!
//! A beacon period has 4096 slots of 30 ms, from 2.12 s after the beacon's time on (LoRaWAN 1.1,
//! 13.1). The node opens every pingPeriod-th of them, from an offset that changes with each beacon so
//! that two nodes that meet once do not meet again (13.2).

use core::time::Duration;

use aes::{
    Aes128,
    cipher::{Array, BlockCipherEncrypt, KeyInit},
};

use crate::{gps::GpsTime, id::DevAddr};

/// Periodicity of PingSlotInfoReq, 0 to 7: one ping slot every 2^Periodicity seconds.
#[derive(Clone, Copy, Debug, Eq, Hash, Ord, PartialEq, PartialOrd)]
pub struct Periodicity(u8);

impl Periodicity {
    /// Returns the periodicity if it is 0 to 7.
    pub const fn new(value: u8) -> Option<Self> {
        if value <= 7 { Some(Self(value)) } else { None }
    }

    /// Returns the value, 0 to 7.
    pub const fn get(self) -> u8 {
        self.0
    }

    /// Returns pingNb, the slots of one beacon period: 128 to 1.
    pub const fn ping_nb(self) -> u16 {
        1 << (7 - self.0)
    }

    /// Returns pingPeriod, the slots of 30 ms from one ping slot to the next: 32 to 4096.
    pub const fn ping_period(self) -> u16 {
        1 << (5 + self.0)
    }
}

/// Returns pingOffset, the first slot of a beacon period: 0 to pingPeriod - 1.
///
/// AES with a key of zeros over beacon time and address, both least significant octet first; the
/// first two octets of the result modulo pingPeriod. Multicast groups use McAddr.
pub fn ping_offset(beacon: GpsTime, address: DevAddr, periodicity: Periodicity) -> u16 {
    let mut block = [0u8; 16];
    let input = beacon.seconds().to_le_bytes().into_iter().chain(address.to_wire());
    for (octet, value) in block.iter_mut().zip(input) {
        *octet = value;
    }
    let mut block = Array::from(block);
    Aes128::new(&Array::from([0u8; 16])).encrypt_block(&mut block);
    let [low, high, ..] = <[u8; 16]>::from(block);
    u16::from_le_bytes([low, high]) % periodicity.ping_period()
}

/// Returns when each ping slot of a beacon period opens, after the beacon's time.
pub fn ping_slots(
    beacon: GpsTime,
    address: DevAddr,
    periodicity: Periodicity,
) -> impl Iterator<Item = Duration> {
    let offset = u32::from(ping_offset(beacon, address, periodicity));
    let period = u32::from(periodicity.ping_period());
    (0..u32::from(periodicity.ping_nb()))
        .map(move |n| BEACON_RESERVED + SLOT * (offset + n * period))
}

/// Returns the channel of a node's ping slots where a region hops over `channels` channels
/// (LoRaWAN 1.1, 16.2). Of no channels it is 0.
pub fn ping_channel(address: DevAddr, beacon: GpsTime, channels: u32) -> u32 {
    let hop = u64::from(address.0) + u64::from(beacon.seconds() / BEACON_PERIOD_S);
    modulo(hop, channels)
}

/// Returns the channel of the beacon itself where a region hops over `channels` channels.
pub fn beacon_channel(beacon: GpsTime, channels: u32) -> u32 {
    modulo(u64::from(beacon.seconds() / BEACON_PERIOD_S), channels)
}

fn modulo(n: u64, channels: u32) -> u32 {
    n.checked_rem(channels.into()).and_then(|n| u32::try_from(n).ok()).unwrap_or_default()
}

/// Seconds from one beacon to the next.
pub const BEACON_PERIOD_S: u32 = 128;

/// From the beacon's time to the first slot.
const BEACON_RESERVED: Duration = Duration::from_millis(2120);

/// Length of a slot.
const SLOT: Duration = Duration::from_millis(30);
