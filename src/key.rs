//! Keys: one zeroizing [`Aes128Key`] and a type for each role, so that the wrong key does not compile.
//!
//! A key is a string of 16 octets, printed and used in the same order; unlike an EUI it is never
//! reversed. No key prints by itself: `Debug` is mute, there is no `Display` and no `Serialize`.
//! Whoever is asked for the value calls [`Aes128Key::revealed`], which says so at the call.

use alloc::string::String;
use core::{fmt, str::FromStr};

use zeroize::{Zeroize, ZeroizeOnDrop};

use crate::words::Count;

/// Why a text is no key. Never holds a digit of the text.
#[derive(Clone, Copy, Debug, Eq, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum KeyError {
    /// A character that is neither a hex digit nor a separator.
    #[error("character {position} of the key is not a hex digit")]
    NotHex {
        /// Position in the text, from 1.
        position: usize,
    },
    /// Not 32 digits.
    #[error("the key has {}, 32 expected", Count(*.found, "hex digit"))]
    Length {
        /// Digits in the text.
        found: usize,
    },
}

/// An AES-128 key: 16 octets, wiped when dropped, mute in `Debug`.
#[derive(Clone, Zeroize, ZeroizeOnDrop)]
pub struct Aes128Key([u8; 16]);

impl Aes128Key {
    /// Returns the key made of these octets, first printed octet first.
    pub const fn new(octets: [u8; 16]) -> Self {
        Self(octets)
    }

    /// Returns the octets, for [`crate::crypto`] and the explorers that look around a key.
    pub(crate) const fn expose(&self) -> &[u8; 16] {
        &self.0
    }

    /// Returns whether both keys have the same value. Takes the same time for every value.
    pub fn same_as(&self, other: &Self) -> bool {
        self.0.iter().zip(&other.0).fold(0u8, |acc, (a, b)| acc | (a ^ b)) == 0
    }

    /// Returns the value as 32 lower-case digits, for a user who asked to see it.
    pub fn revealed(&self) -> String {
        hex::encode(self.0)
    }
}

impl fmt::Debug for Aes128Key {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Aes128Key(..)")
    }
}

impl FromStr for Aes128Key {
    type Err = KeyError;

    /// Reads 32 hex digits, most significant first; `-`, `:` and spaces may stand between octets.
    fn from_str(text: &str) -> Result<Self, KeyError> {
        crate::id::hex_octets(text).map(Self).map_err(|e| match e {
            crate::id::IdError::NotHex { position } => KeyError::NotHex { position },
            crate::id::IdError::Length { found, .. } => KeyError::Length { found },
        })
    }
}

macro_rules! roles {
    ($($(#[$doc:meta])* $name:ident $print:literal;)*) => {$(
        $(#[$doc])*
        #[derive(Clone, Debug, Zeroize, ZeroizeOnDrop)]
        pub struct $name(Aes128Key);

        impl $name {
            /// The role's name as the standard spells it.
            pub const NAME: &'static str = $print;

            /// Returns the key itself, without its role.
            pub const fn key(&self) -> &Aes128Key {
                &self.0
            }
        }

        impl From<Aes128Key> for $name {
            fn from(key: Aes128Key) -> Self {
                Self(key)
            }
        }

        impl From<[u8; 16]> for $name {
            fn from(octets: [u8; 16]) -> Self {
                Self(Aes128Key::new(octets))
            }
        }

        impl FromStr for $name {
            type Err = KeyError;

            fn from_str(text: &str) -> Result<Self, KeyError> {
                text.parse().map(Self)
            }
        }
    )*};
}

roles! {
    /// AppKey: the root key of LoRaWAN 1.0.x; the application root key of 1.1.
    AppKey "AppKey";
    /// NwkKey: the network root key of LoRaWAN 1.1.
    NwkKey "NwkKey";
    /// JSIntKey: signs Rejoin-Requests of type 1 and 1.1 Join-Accepts.
    JsIntKey "JSIntKey";
    /// JSEncKey: encrypts Join-Accepts that answer a Rejoin-Request.
    JsEncKey "JSEncKey";
    /// FNwkSIntKey: the forwarding half of the 1.1 uplink MIC. In 1.0.x the NwkSKey.
    #[doc(alias = "NwkSKey")]
    FNwkSIntKey "FNwkSIntKey";
    /// SNwkSIntKey: the serving half of the 1.1 uplink MIC and the downlink MIC. In 1.0.x the NwkSKey.
    #[doc(alias = "NwkSKey")]
    SNwkSIntKey "SNwkSIntKey";
    /// NwkSEncKey: encrypts FOpts (1.1) and payloads of FPort 0. In 1.0.x the NwkSKey.
    #[doc(alias = "NwkSKey")]
    NwkSEncKey "NwkSEncKey";
    /// NwkSKey: the network session key of LoRaWAN 1.0.x.
    NwkSKey "NwkSKey";
    /// AppSKey: encrypts application payloads.
    AppSKey "AppSKey";
    /// GenAppKey: root of the package layer's keys on a 1.0.x node (TS005).
    GenAppKey "GenAppKey";
    /// McRootKey: root of a node's multicast keys (TS005).
    McRootKey "McRootKey";
    /// McKEKey: wraps the McKey on its way to the node (TS005).
    McKeKey "McKEKey";
    /// McKey: root of one multicast group's session keys (TS005).
    McKey "McKey";
    /// McAppSKey: encrypts payloads of one multicast group (TS005).
    McAppSKey "McAppSKey";
    /// McNwkSKey: signs frames of one multicast group (TS005).
    McNwkSKey "McNwkSKey";
    /// Key encryption key shared by two back ends (RFC 3394, LoRaWAN Backend Interfaces).
    Kek "KEK";
}

/// A root key that can sign a Join-Request: [`AppKey`] in LoRaWAN 1.0.x, [`NwkKey`] in 1.1.
pub trait JoinKey: sealed::Sealed {
    /// Returns the key without its role.
    fn join_key(&self) -> &Aes128Key;
}

mod sealed {
    #[expect(unnameable_types, reason = "sealed: nobody else signs a Join-Request")]
    pub trait Sealed {}
    impl Sealed for super::AppKey {}
    impl Sealed for super::NwkKey {}
}

impl JoinKey for AppKey {
    fn join_key(&self) -> &Aes128Key {
        &self.0
    }
}

impl JoinKey for NwkKey {
    fn join_key(&self) -> &Aes128Key {
        &self.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_key_never_prints() {
        let key: AppKey = "2b7e151628aed2a6abf7158809cf4f3c".parse().unwrap();
        let shown = format!("{key:?}");
        assert!(!shown.contains("2b") && !shown.contains("43"), "{shown}");
        assert_eq!(key.key().revealed(), "2b7e151628aed2a6abf7158809cf4f3c");
    }

    #[test]
    fn a_key_error_never_holds_the_text() {
        let error = "2b7e151628aed2a6abf7158809cf4fzz".parse::<Aes128Key>().unwrap_err();
        assert_eq!(error, KeyError::NotHex { position: 31 });
        let error = "2b7e".parse::<Aes128Key>().unwrap_err();
        assert_eq!(error.to_string(), "the key has 4 hex digits, 32 expected");
    }
}
