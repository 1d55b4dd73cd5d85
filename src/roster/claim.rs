//! What one place says about a node.

use std::path::PathBuf;

use super::damaged_key::DamagedKey;
use crate::{
    frame::MacVersion,
    id::{DevAddr, DevEui, Eui64, JoinEui, NetId},
    key::{AppKey, AppSKey, FNwkSIntKey, GenAppKey, NwkKey, NwkSEncKey, NwkSKey, SNwkSIntKey},
    region::Plan,
};

/// What one place says about a node; whatever it does not say is `None` or empty.
#[derive(Clone, Debug, Default)]
pub struct Claim {
    /// DevEUI.
    pub dev_eui: Option<DevEui>,
    /// JoinEUI.
    #[doc(alias = "AppEUI")]
    pub join_eui: Option<JoinEui>,
    /// AppKey: the root key of 1.0.x, the application root key of 1.1.
    pub app_key: Option<AppKey>,
    /// NwkKey: the network root key of 1.1.
    pub nwk_key: Option<NwkKey>,
    /// GenAppKey: root of multicast keys on a 1.0.x node.
    pub gen_app_key: Option<GenAppKey>,
    /// The link layer version.
    pub mac_version: Option<MacVersion>,
    /// How the node comes by its session.
    pub activation: Option<Activation>,
    /// When the node listens.
    pub class: Option<Class>,
    /// The region, where it differs from the roster's.
    pub region: Option<&'static Plan>,
    /// The channels in use: ChMask words, the first for channels 0 to 15.
    pub channel_mask: Option<Vec<u16>>,
    /// The last JoinNonce accepted, 24 bits.
    pub last_join_nonce: Option<u32>,
    /// The last downlink FCnt accepted, all 32 bits.
    pub last_fcnt_down: Option<u32>,
    /// Lines of the node's own console.
    pub log: Vec<String>,
    /// NetID.
    pub net_id: Option<NetId>,
    /// Gateways as registered.
    pub gateways: Vec<Eui64>,
    /// The last DevNonce accepted.
    pub last_dev_nonce: Option<u16>,
    /// Every DevNonce used before.
    pub used_dev_nonces: Vec<u16>,
    /// The JoinNonce of the next Join-Accept, 24 bits.
    pub next_join_nonce: Option<u32>,
    /// The last uplink FCnt accepted, all 32 bits.
    pub last_fcnt_up: Option<u32>,
    /// The FCnt of the next downlink, all 32 bits.
    pub next_fcnt_down: Option<u32>,
    /// Bits of the frame counters: 16 or 32.
    pub fcnt_bits: Option<u8>,
    /// Delay of RX1, seconds, 0 to 15.
    pub rx1_delay: Option<u8>,
    /// RX1DROffset, 0 to 7.
    pub rx1_dr_offset: Option<u8>,
    /// Data rate of RX2, 0 to 15.
    pub rx2_data_rate: Option<u8>,
    /// Frequency of RX2, hertz.
    pub rx2_frequency: Option<u32>,
    /// Whether the 400 ms limit holds for downlinks.
    pub downlink_dwell: Option<bool>,
    /// The range that the network takes its DevAddr from.
    pub dev_addr_prefix: Option<DevAddrPrefix>,
    /// The regional parameters, such as `RP002-1.0.4`.
    pub regional_parameters: Option<String>,
    /// The identification string of a label (TR005), as written.
    pub qr: Option<String>,
    /// DevAddr of a session.
    pub dev_addr: Option<DevAddr>,
    /// NwkSKey of a 1.0.x session.
    pub nwk_s_key: Option<NwkSKey>,
    /// AppSKey of a session.
    pub app_s_key: Option<AppSKey>,
    /// FNwkSIntKey of a 1.1 session.
    pub f_nwk_s_int_key: Option<FNwkSIntKey>,
    /// SNwkSIntKey of a 1.1 session.
    pub s_nwk_s_int_key: Option<SNwkSIntKey>,
    /// NwkSEncKey of a 1.1 session.
    pub nwk_s_enc_key: Option<NwkSEncKey>,
    /// The sub-band of a fixed channel plan, from 1.
    pub sub_band: Option<u8>,
    /// Members that the place states and that cannot be read, as the roster spells them: they are not
    /// missing, and nothing may rest on their absence.
    pub unread: Vec<&'static str>,
    /// Those of them that are keys of which one digit is damaged.
    pub damaged_keys: Vec<DamagedKey>,
    /// Where keys come from that are not in the roster itself, by member.
    pub key_references: Vec<(&'static str, KeyReference)>,
}

impl Claim {
    /// Returns whether the place states a member that cannot be read.
    pub fn is_unread(&self, member: &str) -> bool {
        self.unread.contains(&member)
    }

    /// Takes an identifier out that cannot be read after all.
    pub(crate) fn take_out(&mut self, member: &'static str) {
        match member {
            "dev-eui" => self.dev_eui = None,
            "join-eui" => self.join_eui = None,
            "dev-addr" => self.dev_addr = None,
            "net-id" => self.net_id = None,
            _ => return,
        }
        self.unread.push(member);
    }

    /// Reads an identifier's bytes in the other order.
    pub(crate) fn turn(&mut self, member: &str) {
        match member {
            "dev-eui" => self.dev_eui = self.dev_eui.map(|eui| DevEui(eui.0.bytes_reversed())),
            "join-eui" => self.join_eui = self.join_eui.map(|eui| JoinEui(eui.0.bytes_reversed())),
            "dev-addr" => self.dev_addr = self.dev_addr.map(|addr| DevAddr(addr.0.swap_bytes())),
            "net-id" => self.net_id = self.net_id.map(|id| NetId::from_wire(printed(id))),
            _ => {}
        }
    }
}

fn printed(id: NetId) -> [u8; 3] {
    let mut bytes = id.to_wire();
    bytes.reverse();
    bytes
}

/// Where a key is that a roster refers to.
#[derive(Clone, Debug, Eq, PartialEq)]
pub enum KeyReference {
    /// In a file, one line of hex.
    File(PathBuf),
    /// In an environment variable.
    Variable(String),
}

/// How a node comes by its session.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub enum Activation {
    /// Over the air, by a join.
    Otaa,
    /// By personalisation: the session is built in.
    Abp,
}

impl Activation {
    /// Both ways.
    pub const ALL: [Self; 2] = [Self::Otaa, Self::Abp];

    /// Returns `OTAA` or `ABP`.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Otaa => "OTAA",
            Self::Abp => "ABP",
        }
    }
}

/// When a node listens.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub enum Class {
    /// After each of its uplinks.
    A,
    /// Also in slots set by a beacon.
    B,
    /// Always.
    C,
}

impl Class {
    /// Every class.
    pub const ALL: [Self; 3] = [Self::A, Self::B, Self::C];

    /// Returns `A`, `B` or `C`.
    pub const fn name(self) -> &'static str {
        match self {
            Self::A => "A",
            Self::B => "B",
            Self::C => "C",
        }
    }
}

/// The DevAddr that share their most significant bits, written `02000000/7`.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub struct DevAddrPrefix {
    value: u32,
    bits: u8,
}

impl DevAddrPrefix {
    /// Returns the prefix of so many bits of a value; `None` above 32.
    pub const fn new(value: u32, bits: u8) -> Option<Self> {
        if bits > 32 {
            return None;
        }
        Some(Self { value: value & mask(bits), bits })
    }

    /// Returns the first address of the range.
    pub const fn value(self) -> u32 {
        self.value
    }

    /// Returns how many bits are fixed, 0 to 32.
    pub const fn bits(self) -> u8 {
        self.bits
    }

    /// Returns whether the address is of the range.
    pub const fn contains(self, addr: DevAddr) -> bool {
        addr.0 & mask(self.bits) == self.value
    }
}

const fn mask(bits: u8) -> u32 {
    // a shift by 32 has no meaning for 32 bits
    match bits {
        0 => 0,
        bits => u32::MAX << (32 - bits),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_prefix_contains_the_addresses_that_share_its_bits() {
        let prefix = DevAddrPrefix::new(0x0200_0001, 7).unwrap();
        assert_eq!((prefix.value(), prefix.bits()), (0x0200_0000, 7));
        assert!(prefix.contains(DevAddr(0x03FF_FFFF)));
        assert!(!prefix.contains(DevAddr(0x0400_0000)));
        assert!(DevAddrPrefix::new(0, 0).unwrap().contains(DevAddr(u32::MAX)));
        assert!(DevAddrPrefix::new(5, 32).unwrap().contains(DevAddr(5)));
        assert_eq!(DevAddrPrefix::new(0, 33), None);
    }
}
