//! Identifiers and nonces: their text form and their order on the wire.
//!
//! People write identifiers with the most significant octet first; LoRaWAN sends every one of
//! them with the least significant octet first (LoRaWAN 1.0.4, conventions). These types hold the
//! value; [`Eui64::from_wire`] and its fellows are the only places where the order turns.
//!
//! | type | octets on the wire | printed |
//! |------|--------------------|---------|
//! | [`DevEui`], [`JoinEui`], [`Eui64`] | 8 | 16 digits |
//! | [`DevAddr`] | 4 | 8 digits |
//! | [`NetId`], [`JoinNonce`] | 3 | 6 digits |
//! | [`DevNonce`] | 2 | a number |

mod address;
mod eui;
mod identify;

use alloc::{format, string::String, vec::Vec};
use core::{fmt, str::FromStr};

use crate::words::Count;

pub use address::{AddrParts, Block, BlockError, NetIdType, Reading};
pub use eui::EuiRemark;
pub use identify::{Candidate, IdReport, IdentifyError, Order, Property, PropertyValue, identify};

/// Why a text is no identifier.
#[derive(Clone, Copy, Debug, Eq, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum IdError {
    /// A character that is neither a hex digit nor a separator.
    #[error("character {position} is not a hex digit")]
    NotHex {
        /// Position in the text, from 1.
        position: usize,
    },
    /// Another number of digits than the identifier has.
    #[error("{}, {wanted} expected", Count(*.found, "hex digit"))]
    Length {
        /// Digits in the text.
        found: usize,
        /// Digits of the identifier.
        wanted: usize,
    },
}

/// Reads exactly `N` octets of hex; `-`, `:` and spaces may stand between octets, `0x` in front.
pub(crate) fn hex_octets<const N: usize>(text: &str) -> Result<[u8; N], IdError> {
    let mut out = [0u8; N];
    // Files and gateways write digits alone; what people write is read with care below.
    if hex::decode_to_slice(text, &mut out).is_ok() {
        return Ok(out);
    }
    let skipped = if text.starts_with("0x") || text.starts_with("0X") { 2 } else { 0 };
    out = [0u8; N];
    let mut digits = 0usize;
    for (i, c) in text.chars().enumerate().skip(skipped) {
        if matches!(c, '-' | ':' | ' ') && digits.is_multiple_of(2) {
            continue;
        }
        let Some(v) = c.to_digit(16) else {
            return Err(IdError::NotHex { position: i + 1 });
        };
        if let Some(octet) = out.get_mut(digits / 2) {
            *octet = (*octet << 4) | u8::try_from(v).unwrap_or_default();
        }
        digits += 1;
    }
    if digits == 2 * N { Ok(out) } else { Err(IdError::Length { found: digits, wanted: 2 * N }) }
}

/// Prints octets as people write EUIs: upper-case digits, dashes between octets.
fn dashed(octets: &[u8]) -> String {
    octets.iter().map(|octet| format!("{octet:02X}")).collect::<Vec<_>>().join("-")
}

/// A 64-bit extended unique identifier: of a node, a join server or a gateway.
///
/// Eight octets, least significant first on the wire, most significant first in print.
#[derive(Clone, Copy, Debug, Default, Eq, Hash, Ord, PartialEq, PartialOrd)]
pub struct Eui64([u8; 8]);

/// Returns in how many hex digits two identifiers differ, place by place.
#[cfg(feature = "std")]
pub(crate) fn digits_apart<const N: usize>(a: [u8; N], b: [u8; N]) -> u32 {
    a.into_iter()
        .zip(b)
        .map(|(x, y)| u32::from((x ^ y) & 0xF0 != 0) + u32::from((x ^ y) & 0x0F != 0))
        .sum()
}

impl Eui64 {
    /// Returns the EUI whose printed octets (most significant first) are given.
    pub const fn new(printed: [u8; 8]) -> Self {
        Self(printed)
    }

    /// Returns the EUI that travels as these octets (least significant first).
    pub fn from_wire(mut octets: [u8; 8]) -> Self {
        octets.reverse();
        Self(octets)
    }

    /// Returns the octets as sent, least significant first.
    pub fn to_wire(self) -> [u8; 8] {
        self.bytes_reversed().0
    }

    /// Returns the octets as printed, most significant first.
    pub const fn octets(self) -> [u8; 8] {
        self.0
    }

    /// Returns the EUI read backwards, octet by octet: the commonest slip of all.
    pub fn bytes_reversed(self) -> Self {
        let mut octets = self.0;
        octets.reverse();
        Self(octets)
    }

    /// Returns 16 lower-case digits without separators, as JSON prints it.
    pub fn hex(self) -> String {
        hex::encode(self.0)
    }
}

impl fmt::Display for Eui64 {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&dashed(&self.0))
    }
}

impl FromStr for Eui64 {
    type Err = IdError;

    fn from_str(text: &str) -> Result<Self, IdError> {
        hex_octets(text).map(Self)
    }
}

macro_rules! eui_role {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, Default, Eq, Hash, Ord, PartialEq, PartialOrd)]
        pub struct $name(pub Eui64);

        impl $name {
            /// Returns the identifier that travels as these octets (least significant first).
            pub fn from_wire(octets: [u8; 8]) -> Self {
                Self(Eui64::from_wire(octets))
            }

            /// Returns the octets as sent, least significant first.
            pub fn to_wire(self) -> [u8; 8] {
                self.0.to_wire()
            }

            /// Returns 16 lower-case digits without separators.
            pub fn hex(self) -> String {
                self.0.hex()
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                self.0.fmt(f)
            }
        }

        impl FromStr for $name {
            type Err = IdError;

            fn from_str(text: &str) -> Result<Self, IdError> {
                text.parse().map(Self)
            }
        }
    };
}

eui_role! {
    /// DevEUI: the node's own EUI.
    DevEui
}
eui_role! {
    /// JoinEUI: the join server's EUI, called AppEUI before LoRaWAN 1.1 and 1.0.4.
    #[doc(alias = "AppEUI")]
    JoinEui
}

/// DevAddr, the 32-bit address of a session.
///
/// Four octets, least significant first on the wire; eight digits in print.
#[derive(Clone, Copy, Debug, Default, Eq, Hash, Ord, PartialEq, PartialOrd)]
pub struct DevAddr(pub u32);

impl DevAddr {
    /// Returns the address that travels as these octets.
    pub const fn from_wire(octets: [u8; 4]) -> Self {
        Self(u32::from_le_bytes(octets))
    }

    /// Returns the octets as sent, least significant first.
    pub const fn to_wire(self) -> [u8; 4] {
        self.0.to_le_bytes()
    }

    /// Returns eight lower-case digits.
    pub fn hex(self) -> String {
        format!("{:08x}", self.0)
    }
}

impl fmt::Display for DevAddr {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:08X}", self.0)
    }
}

impl FromStr for DevAddr {
    type Err = IdError;

    fn from_str(text: &str) -> Result<Self, IdError> {
        hex_octets(text).map(|o| Self(u32::from_be_bytes(o)))
    }
}

macro_rules! three_octets {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, Default, Eq, Hash, Ord, PartialEq, PartialOrd)]
        pub struct $name(u32);

        impl $name {
            /// Returns the value if it fits 24 bits.
            pub const fn new(value: u32) -> Option<Self> {
                if value <= 0x00FF_FFFF { Some(Self(value)) } else { None }
            }

            /// Returns the value that travels as these octets, least significant first.
            pub const fn from_wire(octets: [u8; 3]) -> Self {
                Self(u32::from_le_bytes([octets[0], octets[1], octets[2], 0]))
            }

            /// Returns the octets as sent, least significant first.
            pub const fn to_wire(self) -> [u8; 3] {
                let [a, b, c, _] = self.0.to_le_bytes();
                [a, b, c]
            }

            /// Returns the value, 0 to 0xFFFFFF.
            pub const fn get(self) -> u32 {
                self.0
            }

            /// Returns six lower-case digits.
            pub fn hex(self) -> String {
                format!("{:06x}", self.0)
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                write!(f, "{:06X}", self.0)
            }
        }

        impl FromStr for $name {
            type Err = IdError;

            fn from_str(text: &str) -> Result<Self, IdError> {
                hex_octets::<3>(text).map(|[a, b, c]| Self(u32::from_be_bytes([0, a, b, c])))
            }
        }
    };
}

three_octets! {
    /// NetID, the 24-bit identifier of a network (LoRaWAN Backend Interfaces).
    NetId
}
three_octets! {
    /// JoinNonce, the join server's 24-bit nonce, called AppNonce before LoRaWAN 1.1 and 1.0.4.
    #[doc(alias = "AppNonce")]
    JoinNonce
}

/// DevNonce, the node's 16-bit nonce; a counter since LoRaWAN 1.0.4 and 1.1, random before.
///
/// Where a Join-Accept answers a Rejoin-Request, RJcount0 or RJcount1 stands in its place.
#[derive(Clone, Copy, Debug, Default, Eq, Hash, Ord, PartialEq, PartialOrd)]
pub struct DevNonce(pub u16);

impl DevNonce {
    /// Returns the nonce that travels as these octets.
    pub const fn from_wire(octets: [u8; 2]) -> Self {
        Self(u16::from_le_bytes(octets))
    }

    /// Returns the octets as sent, least significant first.
    pub const fn to_wire(self) -> [u8; 2] {
        self.0.to_le_bytes()
    }
}

impl fmt::Display for DevNonce {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_eui_travels_backwards() {
        // protocol examples: DevEUI 020000FFFE1A2B3C is on air 3C 2B 1A FE FF 00 00 02
        let eui: Eui64 = "02:00:00-FF FE1A2b3c".parse().unwrap();
        assert_eq!(eui.to_wire(), [0x3c, 0x2b, 0x1a, 0xfe, 0xff, 0, 0, 2]);
        assert_eq!(Eui64::from_wire(eui.to_wire()), eui);
        assert_eq!(eui.to_string(), "02-00-00-FF-FE-1A-2B-3C");
        assert_eq!(eui.hex(), "020000fffe1a2b3c");
    }

    #[test]
    fn a_dev_addr_travels_backwards() {
        let addr: DevAddr = "0201BBDA".parse().unwrap();
        assert_eq!(addr.to_wire(), [0xda, 0xbb, 0x01, 0x02]);
        assert_eq!(DevAddr::from_wire(addr.to_wire()), addr);
    }

    #[test]
    fn three_octet_values_travel_backwards() {
        let id: NetId = "000001".parse().unwrap();
        assert_eq!(id.to_wire(), [1, 0, 0]);
        assert_eq!(JoinNonce::from_wire([0xb2, 0xa1, 0x00]).get(), 0xA1B2);
        assert_eq!(NetId::new(0x0100_0000), None);
    }

    #[test]
    fn errors_say_where_and_how_many() {
        assert_eq!("0201BBD".parse::<DevAddr>(), Err(IdError::Length { found: 7, wanted: 8 }));
        assert_eq!("0201BBxA".parse::<DevAddr>(), Err(IdError::NotHex { position: 7 }));
        // a separator inside an octet is no separator
        assert_eq!("0-201BBDA".parse::<DevAddr>(), Err(IdError::NotHex { position: 2 }));
    }
}
