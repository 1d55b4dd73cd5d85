//! Key derivation: each key is one AES encryption of one block under its root.
//!
//! | key | root | first octet | rest of the block |
//! |-----|------|-------------|-------------------|
//! | NwkSKey, AppSKey (1.0.x) | AppKey | 01, 02 | JoinNonce, NetID, DevNonce, zeros |
//! | the same on a 1.0 server (1.1, OptNeg 0) | NwkKey | 01, 02 | as above |
//! | FNwkSIntKey, SNwkSIntKey, NwkSEncKey (1.1) | NwkKey | 01, 03, 04 | JoinNonce, JoinEUI, DevNonce, zeros |
//! | AppSKey (1.1) | AppKey | 02 | as the line above |
//! | JSEncKey, JSIntKey | NwkKey | 05, 06 | DevEUI, zeros |
//! | McRootKey | GenAppKey (1.0.x) / AppKey (1.1) | 00 / 20 | zeros |
//! | McKEKey | McRootKey | 00 | zeros |
//! | McAppSKey, McNwkSKey | McKey | 01, 02 | McAddr, zeros |
//! | RootWorSKey | NwkSEncKey, NwkSKey of 1.0.x | 01 | zeros |
//!
//! Every field stands least significant octet first. LoRaWAN 1.0.4 p. 46, 1.1 6.1-6.2, TS005, TS011.

use alloc::{vec, vec::Vec};

use super::{Block, Scheme, decrypt_block, encrypt_block, pad16};
use crate::{
    id::{DevAddr, DevEui, DevNonce, JoinEui, JoinNonce, NetId},
    key::{
        Aes128Key, AppKey, AppSKey, FNwkSIntKey, GenAppKey, JoinKey, JsEncKey, JsIntKey, McAppSKey,
        McKeKey, McKey, McNwkSKey, McRootKey, NwkKey, NwkSEncKey, NwkSKey, SNwkSIntKey,
    },
};

/// The keys of one session, by the rule that made them.
#[derive(Clone, Debug)]
pub enum SessionKeys {
    /// LoRaWAN 1.0.x, and a 1.1 node on a 1.0 server.
    V1_0 {
        /// NwkSKey.
        nwk_s_key: NwkSKey,
        /// AppSKey; a session that a server exported may come without.
        app_s_key: Option<AppSKey>,
    },
    /// LoRaWAN 1.1.
    V1_1 {
        /// FNwkSIntKey.
        f_nwk_s_int_key: FNwkSIntKey,
        /// SNwkSIntKey.
        s_nwk_s_int_key: SNwkSIntKey,
        /// NwkSEncKey.
        nwk_s_enc_key: NwkSEncKey,
        /// AppSKey; a session that a server exported may come without.
        app_s_key: Option<AppSKey>,
    },
}

impl SessionKeys {
    /// Returns AppSKey, if it is known.
    pub const fn app_s_key(&self) -> Option<&AppSKey> {
        match self {
            Self::V1_0 { app_s_key, .. } | Self::V1_1 { app_s_key, .. } => app_s_key.as_ref(),
        }
    }

    /// Returns how data of the session is signed and encrypted.
    pub const fn scheme(&self) -> Scheme {
        match self {
            Self::V1_0 { .. } => Scheme::V1_0,
            Self::V1_1 { .. } => Scheme::V1_1,
        }
    }

    /// Returns each key with its name.
    pub fn named(&self) -> Vec<(&'static str, &Aes128Key)> {
        let mut out = match self {
            Self::V1_0 { nwk_s_key, .. } => vec![(NwkSKey::NAME, nwk_s_key.key())],
            Self::V1_1 { f_nwk_s_int_key, s_nwk_s_int_key, nwk_s_enc_key, .. } => vec![
                (FNwkSIntKey::NAME, f_nwk_s_int_key.key()),
                (SNwkSIntKey::NAME, s_nwk_s_int_key.key()),
                (NwkSEncKey::NAME, nwk_s_enc_key.key()),
            ],
        };
        out.extend(self.app_s_key().map(|key| (AppSKey::NAME, key.key())));
        out
    }
}

/// Returns the block of a 1.0.x session key: 01 for NwkSKey, 02 for AppSKey.
pub fn block_1_0(first: u8, join_nonce: JoinNonce, net_id: NetId, dev_nonce: DevNonce) -> Block {
    pad16(&[&[first], &join_nonce.to_wire(), &net_id.to_wire(), &dev_nonce.to_wire()])
}

/// Returns the block of a 1.1 session key: 01 FNwkSIntKey, 02 AppSKey, 03 SNwkSIntKey, 04 NwkSEncKey.
pub fn block_1_1(first: u8, join_nonce: JoinNonce, join_eui: JoinEui, nonce: DevNonce) -> Block {
    pad16(&[&[first], &join_nonce.to_wire(), &join_eui.to_wire(), &nonce.to_wire()])
}

fn derive<K: From<[u8; 16]>>(root: &Aes128Key, block: Block) -> K {
    K::from(encrypt_block(root, block))
}

/// Returns the session keys of LoRaWAN 1.0.x; under a NwkKey, those of a 1.1 node on a 1.0 server.
pub fn session_1_0(
    root: &impl JoinKey,
    join_nonce: JoinNonce,
    net_id: NetId,
    dev_nonce: DevNonce,
) -> SessionKeys {
    let of = |first| block_1_0(first, join_nonce, net_id, dev_nonce);
    SessionKeys::V1_0 {
        nwk_s_key: derive(root.join_key(), of(1)),
        app_s_key: Some(derive(root.join_key(), of(2))),
    }
}

/// Returns the session keys of LoRaWAN 1.1. `nonce` is DevNonce, or the RJcount that was answered.
pub fn session_1_1(
    nwk_key: &NwkKey,
    app_key: Option<&AppKey>,
    join_nonce: JoinNonce,
    join_eui: JoinEui,
    nonce: DevNonce,
) -> SessionKeys {
    let of = |first| block_1_1(first, join_nonce, join_eui, nonce);
    SessionKeys::V1_1 {
        f_nwk_s_int_key: derive(nwk_key.key(), of(1)),
        s_nwk_s_int_key: derive(nwk_key.key(), of(3)),
        nwk_s_enc_key: derive(nwk_key.key(), of(4)),
        app_s_key: app_key.map(|key| derive(key.key(), of(2))),
    }
}

/// Returns JSIntKey of a node (LoRaWAN 1.1, 6.1.1.4).
pub fn js_int_key(nwk_key: &NwkKey, dev_eui: DevEui) -> JsIntKey {
    derive(nwk_key.key(), js_int_block(dev_eui))
}

/// Returns the block that JSIntKey is made of.
pub fn js_int_block(dev_eui: DevEui) -> Block {
    pad16(&[&[6], &dev_eui.to_wire()])
}

/// Returns JSEncKey of a node (LoRaWAN 1.1, 6.1.1.4).
pub fn js_enc_key(nwk_key: &NwkKey, dev_eui: DevEui) -> JsEncKey {
    derive(nwk_key.key(), js_enc_block(dev_eui))
}

/// Returns the block that JSEncKey is made of.
pub fn js_enc_block(dev_eui: DevEui) -> Block {
    pad16(&[&[5], &dev_eui.to_wire()])
}

/// Returns McRootKey of a 1.0.x node (TS005).
pub fn mc_root_key_1_0(gen_app_key: &GenAppKey) -> McRootKey {
    derive(gen_app_key.key(), MC_ROOT_BLOCK_1_0)
}

/// The block that McRootKey of a 1.0.x node is made of, and McKEKey of any.
pub const MC_ROOT_BLOCK_1_0: Block = [0; 16];

/// Returns McRootKey of a 1.1 node (TS005).
pub fn mc_root_key_1_1(app_key: &AppKey) -> McRootKey {
    derive(app_key.key(), MC_ROOT_BLOCK_1_1)
}

/// The block that McRootKey of a 1.1 node is made of.
pub const MC_ROOT_BLOCK_1_1: Block = [0x20, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0];

/// Returns McKEKey (TS005).
pub fn mc_ke_key(root: &McRootKey) -> McKeKey {
    derive(root.key(), MC_ROOT_BLOCK_1_0)
}

/// Returns McKey out of McKey_encrypted, as the node does: by encrypting (TS005).
pub fn mc_key(kek: &McKeKey, encrypted: Block) -> McKey {
    derive(kek.key(), encrypted)
}

/// Returns McKey_encrypted, as the server makes it: by decrypting (TS005).
pub fn mc_key_encrypted(kek: &McKeKey, key: &McKey) -> Block {
    decrypt_block(kek.key(), *key.key().expose())
}

/// Returns McAppSKey of a group (TS005).
pub fn mc_app_s_key(key: &McKey, mc_addr: DevAddr) -> McAppSKey {
    derive(key.key(), mc_block(1, mc_addr))
}

/// Returns McNwkSKey of a group (TS005).
pub fn mc_nwk_s_key(key: &McKey, mc_addr: DevAddr) -> McNwkSKey {
    derive(key.key(), mc_block(2, mc_addr))
}

/// Returns the block of a group's session key: 01 for McAppSKey, 02 for McNwkSKey.
pub fn mc_block(first: u8, mc_addr: DevAddr) -> Block {
    pad16(&[&[first], &mc_addr.to_wire()])
}

/// Returns RootWorSKey of a session: from NwkSEncKey, or from NwkSKey in 1.0.x (TS011).
pub fn root_wor_s_key(network: &Aes128Key) -> Aes128Key {
    Aes128Key::new(encrypt_block(network, pad16(&[&[1]])))
}
