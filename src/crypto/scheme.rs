//! Which key does what: the one place that knows it.
//!
//! | session | MIC | FPort 0 | FPort 1 to 255 | FOpts |
//! |---------|-----|---------|----------------|-------|
//! | 1.0.x | NwkSKey | NwkSKey | AppSKey | in clear |
//! | 1.1 | SNwkSIntKey, FNwkSIntKey | NwkSEncKey | AppSKey | NwkSEncKey |
//! | 1.1 node, 1.0.x server | FNwkSIntKey | NwkSEncKey | AppSKey | in clear |
//! | multicast | McNwkSKey | McAppSKey | McAppSKey | in clear |
//!
//! LoRaWAN 1.0.4 p. 24-25, 1.1 4.3.1.6, 4.3.3 and 4.4. On a 1.0.x server a 1.1 node has one network key
//! under three names (1.1, 6.1.2.3). A multicast frame carries no MAC commands (1.1, 11.2.2).

use super::derive::SessionKeys;
use crate::key::{Aes128Key, AppSKey, McAppSKey, NwkSEncKey, NwkSKey};

/// How data of a session is signed and encrypted.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
#[non_exhaustive]
pub enum Scheme {
    /// LoRaWAN 1.0.x: NwkSKey and AppSKey.
    V1_0,
    /// LoRaWAN 1.1: SNwkSIntKey, FNwkSIntKey, NwkSEncKey and AppSKey.
    V1_1,
    /// A 1.1 node on a 1.0.x server: FNwkSIntKey signs by the rule of 1.0.x.
    V1_1OnV1_0,
    /// Multicast: McNwkSKey and McAppSKey.
    Multicast,
}

impl Scheme {
    /// Returns which key encrypts FRMPayload of a port.
    pub const fn payload_role(self, port: u8) -> PayloadRole {
        match (self, port) {
            (Self::Multicast, _) => PayloadRole::McAppSKey,
            (Self::V1_0, 0) => PayloadRole::NwkSKey,
            (Self::V1_1 | Self::V1_1OnV1_0, 0) => PayloadRole::NwkSEncKey,
            (_, 1..) => PayloadRole::AppSKey,
        }
    }

    /// Returns whether FOpts are encrypted, under NwkSEncKey; else they travel in clear.
    pub const fn encrypts_fopts(self) -> bool {
        matches!(self, Self::V1_1)
    }
}

/// A role of a key that encrypts FRMPayload.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
#[non_exhaustive]
pub enum PayloadRole {
    /// AppSKey.
    AppSKey,
    /// NwkSKey.
    NwkSKey,
    /// NwkSEncKey.
    NwkSEncKey,
    /// McAppSKey.
    McAppSKey,
}

impl PayloadRole {
    /// Returns the name as the standard spells it.
    pub const fn name(self) -> &'static str {
        match self {
            Self::AppSKey => AppSKey::NAME,
            Self::NwkSKey => NwkSKey::NAME,
            Self::NwkSEncKey => NwkSEncKey::NAME,
            Self::McAppSKey => McAppSKey::NAME,
        }
    }
}

/// Keys that encrypt data, as far as they are at hand.
#[derive(Clone, Copy, Debug, Default)]
pub struct EncryptionKeys<'k> {
    /// AppSKey.
    pub app_s_key: Option<&'k AppSKey>,
    /// NwkSKey of 1.0.x.
    pub nwk_s_key: Option<&'k NwkSKey>,
    /// NwkSEncKey of 1.1.
    pub nwk_s_enc_key: Option<&'k NwkSEncKey>,
    /// McAppSKey of a multicast group.
    pub mc_app_s_key: Option<&'k McAppSKey>,
}

impl<'k> EncryptionKeys<'k> {
    /// Returns the key of that role.
    pub fn payload_key(&self, role: PayloadRole) -> Option<PayloadKey<'k>> {
        match role {
            PayloadRole::AppSKey => self.app_s_key.map(PayloadKey::from),
            PayloadRole::NwkSKey => self.nwk_s_key.map(PayloadKey::from),
            PayloadRole::NwkSEncKey => self.nwk_s_enc_key.map(PayloadKey::from),
            PayloadRole::McAppSKey => self.mc_app_s_key.map(PayloadKey::from),
        }
    }
}

impl<'k> From<&'k SessionKeys> for EncryptionKeys<'k> {
    fn from(keys: &'k SessionKeys) -> Self {
        let app_s_key = keys.app_s_key();
        match keys {
            SessionKeys::V1_0 { nwk_s_key, .. } => {
                Self { app_s_key, nwk_s_key: Some(nwk_s_key), ..Self::default() }
            }
            SessionKeys::V1_1 { nwk_s_enc_key, .. } => {
                Self { app_s_key, nwk_s_enc_key: Some(nwk_s_enc_key), ..Self::default() }
            }
        }
    }
}

/// A key that encrypts FRMPayload.
#[derive(Clone, Copy, Debug)]
pub struct PayloadKey<'k> {
    role: PayloadRole,
    key: &'k Aes128Key,
}

macro_rules! payload_keys {
    ($($role:ident)*) => {$(
        impl<'k> From<&'k $role> for PayloadKey<'k> {
            fn from(key: &'k $role) -> Self {
                Self { role: PayloadRole::$role, key: key.key() }
            }
        }
    )*};
}

payload_keys! { AppSKey NwkSKey NwkSEncKey McAppSKey }

impl PayloadKey<'_> {
    /// Returns its role.
    pub const fn role(&self) -> PayloadRole {
        self.role
    }

    pub(super) const fn key(&self) -> &Aes128Key {
        self.key
    }
}
