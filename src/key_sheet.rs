//! The key sheet: every key that a join, a rejoin, a multicast group or a key envelope makes.
//!
//! [`crypto::derive`](crate::crypto::derive) computes; this room gathers what belongs together,
//! with the values it was made of and the rule in a sentence, so that a screen can show both.
//! Nothing here is checked: whoever has frames checks their MICs first.

use crate::{
    crypto::{
        Block,
        derive::{self, SessionKeys},
        wrap::{self, UnwrapError},
    },
    id::{DevAddr, DevEui, DevNonce, JoinEui, JoinNonce, NetId},
    key::{
        Aes128Key, AppKey, AppSKey, FNwkSIntKey, GenAppKey, JoinKey, JsEncKey, JsIntKey, Kek,
        McAppSKey, McKeKey, McKey, McNwkSKey, McRootKey, NwkKey, NwkSEncKey, NwkSKey, SNwkSIntKey,
    },
    working::{self, Sheet},
};

/// Keys that were derived, part by part.
#[derive(Clone, Debug, Default)]
pub struct KeySheet {
    /// The parts, in the order in which they were added.
    pub parts: Vec<Part>,
}

/// Keys that are made of the same values.
#[derive(Clone, Debug)]
pub struct Part {
    /// What they are for.
    pub title: &'static str,
    /// How they are made, in a sentence.
    pub rule: &'static str,
    /// The values they are made of, none of which is secret.
    pub values: Vec<(&'static str, SheetValue)>,
    /// The keys by name.
    pub keys: Vec<(&'static str, Aes128Key)>,
    /// How they are computed, step by step.
    pub working: Option<Sheet>,
}

/// A value that keys are made of.
#[derive(Clone, Debug, Eq, PartialEq)]
pub enum SheetValue {
    /// A number.
    Number(u32),
    /// Digits, as people write them.
    Digits(String),
}

/// What a session of 1.0.x is made of, beside its root key.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct Join10 {
    /// JoinNonce.
    pub join_nonce: JoinNonce,
    /// NetID.
    pub net_id: NetId,
    /// DevNonce.
    pub dev_nonce: DevNonce,
}

/// What a session of 1.1 is made of, beside its root keys.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct Join11 {
    /// JoinNonce.
    pub join_nonce: JoinNonce,
    /// JoinEUI.
    pub join_eui: JoinEui,
    /// The nonce of what was answered.
    pub nonce: Nonce,
}

/// The node's nonce in a 1.1 derivation, by what was answered.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Nonce {
    /// A Join-Request.
    Dev(DevNonce),
    /// A Rejoin-Request: its RJcount stands in DevNonce's place.
    RjCount(DevNonce),
}

/// What a multicast group's keys are made of.
#[derive(Clone, Debug, Default)]
pub struct Multicast {
    /// Root of a 1.0.x node.
    pub gen_app_key: Option<GenAppKey>,
    /// Root of a 1.1 node.
    pub app_key: Option<AppKey>,
    /// McKey as it travels.
    pub mc_key_encrypted: Option<Block>,
    /// McKey itself.
    pub mc_key: Option<McKey>,
    /// Address of the group.
    pub mc_addr: Option<DevAddr>,
}

impl Join10 {
    fn values(self) -> Vec<(&'static str, SheetValue)> {
        vec![
            ("JoinNonce", SheetValue::Number(self.join_nonce.get())),
            ("NetID", SheetValue::Digits(self.net_id.hex())),
            ("DevNonce", SheetValue::Number(self.dev_nonce.0.into())),
        ]
    }
}

impl Join11 {
    fn values(self) -> Vec<(&'static str, SheetValue)> {
        vec![
            ("JoinNonce", SheetValue::Number(self.join_nonce.get())),
            ("JoinEUI", SheetValue::Digits(self.join_eui.hex())),
            self.nonce.value(),
        ]
    }
}

impl Nonce {
    const fn get(self) -> DevNonce {
        match self {
            Self::Dev(nonce) | Self::RjCount(nonce) => nonce,
        }
    }

    fn value(self) -> (&'static str, SheetValue) {
        let name = match self {
            Self::Dev(_) => "DevNonce",
            Self::RjCount(_) => "RJcount",
        };
        (name, SheetValue::Number(self.get().0.into()))
    }
}

fn session(root: &impl JoinKey, join: Join10) -> SessionKeys {
    derive::session_1_0(root, join.join_nonce, join.net_id, join.dev_nonce)
}

fn working_1_0(root: (&str, &Aes128Key), join: Join10) -> Sheet {
    working::session_1_0(root, join.join_nonce, join.net_id, join.dev_nonce)
}

fn named<'a>(
    keys: impl IntoIterator<Item = (&'static str, &'a Aes128Key)>,
) -> Vec<(&'static str, Aes128Key)> {
    keys.into_iter().map(|(name, key)| (name, key.clone())).collect()
}

impl KeySheet {
    /// Adds the session keys of LoRaWAN 1.0.x.
    ///
    /// ```
    /// use handfast::{id::*, key_sheet::{Join10, KeySheet}};
    ///
    /// let join = Join10 {
    ///     join_nonce: JoinNonce::new(0xA1B2).unwrap(),
    ///     net_id: NetId::new(1).unwrap(),
    ///     dev_nonce: DevNonce(0x0102),
    /// };
    /// let mut sheet = KeySheet::default();
    /// sheet.add_1_0(&"2B7E151628AED2A6ABF7158809CF4F3C".parse().unwrap(), join);
    /// let (name, key) = &sheet.parts[0].keys[0];
    /// assert_eq!((*name, key.revealed().as_str()), ("NwkSKey", "4bfd96bce7bda8054d563c80486c0390"));
    /// ```
    pub fn add_1_0(&mut self, app_key: &AppKey, join: Join10) {
        self.parts.push(Part {
            title: "Session of LoRaWAN 1.0.x, root AppKey",
            rule: "AES under AppKey of 01 (NwkSKey) or 02 (AppSKey), JoinNonce, NetID, DevNonce, \
                   each least significant byte first, and zeros.",
            values: join.values(),
            keys: named(session(app_key, join).named()),
            working: Some(working_1_0((AppKey::NAME, app_key.key()), join)),
        });
    }

    /// Adds the session keys of a 1.1 node on a 1.0 server (OptNeg 0).
    pub fn add_1_1_on_1_0(&mut self, nwk_key: &NwkKey, join: Join10) {
        let session = session(nwk_key, join);
        let network = session.named();
        let network = network.iter().find(|(name, _)| *name == NwkSKey::NAME).map(|(_, key)| *key);
        let thrice = [FNwkSIntKey::NAME, SNwkSIntKey::NAME, NwkSEncKey::NAME];
        let mut keys = named(network.into_iter().flat_map(|key| thrice.map(|name| (name, key))));
        keys.extend(session.app_s_key().map(|key| (AppSKey::NAME, key.key().clone())));
        self.parts.push(Part {
            title: "Session of a 1.1 node on a 1.0 server (OptNeg 0), root NwkKey",
            rule: "AES under NwkKey of 01 (all three network keys) or 02 (AppSKey), JoinNonce, \
                   NetID, DevNonce, each least significant byte first, and zeros. AppKey is not \
                   used.",
            values: join.values(),
            keys,
            working: Some(working_1_0((NwkKey::NAME, nwk_key.key()), join)),
        });
    }

    /// Adds the session keys of LoRaWAN 1.1; without AppKey there is no AppSKey.
    pub fn add_1_1(&mut self, nwk_key: &NwkKey, app_key: Option<&AppKey>, join: Join11) {
        let nonce = join.nonce.get();
        let session = derive::session_1_1(nwk_key, app_key, join.join_nonce, join.join_eui, nonce);
        self.parts.push(Part {
            title: "Session of LoRaWAN 1.1, roots NwkKey and AppKey",
            rule: "AES under NwkKey of 01 (FNwkSIntKey), 03 (SNwkSIntKey) or 04 (NwkSEncKey), \
                   under AppKey of 02 (AppSKey), then JoinNonce, JoinEUI, DevNonce or RJcount, \
                   each least significant byte first, and zeros.",
            values: join.values(),
            keys: named(session.named()),
            working: Some(working::session_1_1(
                (NwkKey::NAME, nwk_key.key()),
                app_key.map(|key| (AppKey::NAME, key.key())),
                join.join_nonce,
                join.join_eui,
                (join.nonce.value().0, nonce),
            )),
        });
    }

    /// Adds JSIntKey and JSEncKey of a 1.1 node.
    pub fn add_join_server_keys(&mut self, nwk_key: &NwkKey, dev_eui: DevEui) {
        let (int, enc) =
            (derive::js_int_key(nwk_key, dev_eui), derive::js_enc_key(nwk_key, dev_eui));
        self.parts.push(Part {
            title: "Join keys of a 1.1 node, root NwkKey",
            rule: "AES under NwkKey of 06 (JSIntKey) or 05 (JSEncKey), DevEUI least significant \
                   byte first, and zeros.",
            values: vec![("DevEUI", SheetValue::Digits(dev_eui.hex()))],
            keys: named([(JsIntKey::NAME, int.key()), (JsEncKey::NAME, enc.key())]),
            working: Some(working::join_server_keys(
                (NwkKey::NAME, nwk_key.key()),
                dev_eui,
                &[JsIntKey::NAME, JsEncKey::NAME],
            )),
        });
    }

    /// Adds what can be derived of a multicast group.
    pub fn add_multicast(&mut self, from: &Multicast) {
        let root = match (&from.gen_app_key, &from.app_key) {
            (Some(key), _) => Some((derive::mc_root_key_1_0(key), "root GenAppKey")),
            (None, Some(key)) => Some((derive::mc_root_key_1_1(key), "root AppKey")),
            (None, None) => None,
        };
        let mut values = Vec::new();
        let mut keys = Vec::new();
        let mut mc_key = from.mc_key.clone();
        if let Some((root, _)) = &root {
            let kek = derive::mc_ke_key(root);
            keys.extend(named([(McRootKey::NAME, root.key()), (McKeKey::NAME, kek.key())]));
            if let Some(encrypted) = from.mc_key_encrypted {
                mc_key = Some(derive::mc_key(&kek, encrypted));
                values.push(("McKey_encrypted", SheetValue::Digits(hex::encode(encrypted))));
            } else if let Some(key) = &mc_key {
                let encrypted = derive::mc_key_encrypted(&kek, key);
                values.push(("McKey_encrypted", SheetValue::Digits(hex::encode(encrypted))));
            }
        }
        if let Some(mc_key) = &mc_key {
            keys.extend(named([(McKey::NAME, mc_key.key())]));
            if let Some(mc_addr) = from.mc_addr {
                values.push(("McAddr", SheetValue::Digits(mc_addr.hex())));
                let network = derive::mc_nwk_s_key(mc_key, mc_addr);
                let app = derive::mc_app_s_key(mc_key, mc_addr);
                keys.extend(named([
                    (McNwkSKey::NAME, network.key()),
                    (McAppSKey::NAME, app.key()),
                ]));
            }
        }
        let given = from.gen_app_key.as_ref().map(|key| (GenAppKey::NAME, key.key()));
        let working = working::multicast(working::Group {
            root: given.or_else(|| from.app_key.as_ref().map(|key| (AppKey::NAME, key.key()))),
            encrypted: from.mc_key_encrypted,
            mc_key: from
                .mc_key
                .as_ref()
                .filter(|_| from.mc_key_encrypted.is_none() || root.is_none()),
            mc_addr: from.mc_addr,
        });
        self.parts.push(Part {
            title: match root {
                Some((_, "root GenAppKey")) => "Multicast of a 1.0.x node, root GenAppKey",
                Some(_) => "Multicast of a 1.1 node, root AppKey",
                None => "Multicast group",
            },
            rule: "McRootKey: AES of zeros under GenAppKey (1.0.x), of 20 and zeros under AppKey \
                   (1.1). McKEKey: AES of zeros under McRootKey. McKey: AES of McKey_encrypted \
                   under McKEKey. McAppSKey, McNwkSKey: AES under McKey of 01 or 02, McAddr, zeros.",
            values,
            keys,
            working: Some(working),
        });
    }

    /// Adds the key inside an envelope (RFC 3394).
    ///
    /// # Errors
    /// [`UnwrapError`] when the length is another or the integrity check fails.
    pub fn add_wrapped(&mut self, kek: &Kek, wrapped: &[u8]) -> Result<(), UnwrapError> {
        let key = wrap::unwrap(kek, wrapped)?;
        self.parts.push(Part {
            title: "Key in an envelope, under KEK",
            rule: "RFC 3394 key wrap; its integrity check holds.",
            values: vec![("wrapped", SheetValue::Digits(hex::encode(wrapped)))],
            keys: vec![("unwrapped", key)],
            working: None,
        });
        Ok(())
    }
}
