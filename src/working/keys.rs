//! Key derivation on paper: one block under one key.

use super::{
    Part, Sheet,
    desk::{Desk, Key, laid},
};
use crate::{
    crypto::{Block, derive, encrypt_block},
    id::{DevAddr, DevEui, DevNonce, JoinEui, JoinNonce, NetId},
    key::{
        Aes128Key, AppKey, AppSKey, FNwkSIntKey, JsEncKey, JsIntKey, McAppSKey, McKeKey, McKey,
        McNwkSKey, McRootKey, NwkKey, NwkSEncKey, NwkSKey, SNwkSIntKey,
    },
};

/// What a block is for, beside its octets.
struct Made<'a> {
    name: &'a str,
    root: Key<'a>,
    block: Block,
    parts: Vec<Part>,
}

fn derive(desk: &mut Desk, made: Made<'_>) -> Aes128Key {
    let block = format!("block_{}", made.name);
    debug_assert!(made.parts.iter().flat_map(|part| &part.octets).eq(&made.block));
    desk.key(made.root);
    desk.join(&block, made.parts, "");
    desk.aes(made.name, made.root, &block, true, "");
    Aes128Key::new(encrypt_block(made.root.key, made.block))
}

/// The session keys of 1.0.x, or of a 1.1 node on a 1.0 server.
pub(crate) fn session_1_0(
    root: (&str, &Aes128Key),
    join_nonce: JoinNonce,
    net_id: NetId,
    dev_nonce: DevNonce,
) -> Sheet {
    let root = Key { name: root.0, key: root.1 };
    let mut desk = Desk::new(format!("Session keys of LoRaWAN 1.0.x under {}", root.name));
    for (first, name) in [(1, NwkSKey::NAME), (2, AppSKey::NAME)] {
        let block = derive::block_1_0(first, join_nonce, net_id, dev_nonce);
        let parts = laid(
            &block,
            &[
                (if first == 1 { "01" } else { "02" }, 1, format!("for {name}")),
                ("JoinNonce", 3, format!("{}, last byte first", join_nonce.hex())),
                ("NetID", 3, format!("{}, last byte first", net_id.hex())),
                ("DevNonce", 2, format!("{dev_nonce}, last byte first")),
                ("zeros", 7, String::new()),
            ],
        );
        derive(&mut desk, Made { name, root, block, parts });
    }
    desk.done(if root.name == NwkKey::NAME {
        "Of a 1.1 node on a 1.0 server NwkSKey is all three network session keys."
    } else {
        "These sign and encrypt the data of the session."
    })
}

/// The session keys of 1.1; without AppKey there is no AppSKey.
pub(crate) fn session_1_1(
    nwk: (&str, &Aes128Key),
    app: Option<(&str, &Aes128Key)>,
    join_nonce: JoinNonce,
    join_eui: JoinEui,
    (nonce_name, nonce): (&'static str, DevNonce),
) -> Sheet {
    let root = |(name, key)| Key { name, key };
    let mut desk = Desk::new("Session keys of LoRaWAN 1.1");
    let network = [(1, FNwkSIntKey::NAME), (3, SNwkSIntKey::NAME), (4, NwkSEncKey::NAME)];
    let network = network.map(|(first, name)| (first, name, root(nwk)));
    let app = app.map(|app| (2, AppSKey::NAME, root(app)));
    for (first, name, root) in network.into_iter().chain(app) {
        let block = derive::block_1_1(first, join_nonce, join_eui, nonce);
        let number = format!("{first:02X}");
        let parts = laid(
            &block,
            &[
                (number.as_str(), 1, format!("for {name}")),
                ("JoinNonce", 3, format!("{}, last byte first", join_nonce.hex())),
                ("JoinEUI", 8, format!("{join_eui}, last byte first")),
                (nonce_name, 2, format!("{nonce}, last byte first")),
                ("zeros", 2, String::new()),
            ],
        );
        derive(&mut desk, Made { name, root, block, parts });
    }
    desk.done("These sign and encrypt the data of the session.")
}

/// JSIntKey, JSEncKey or both of a 1.1 node.
pub(crate) fn join_server_keys(
    nwk: (&str, &Aes128Key),
    dev_eui: DevEui,
    names: &[&'static str],
) -> Sheet {
    let root = Key { name: nwk.0, key: nwk.1 };
    let mut desk = Desk::new(format!("{} of a 1.1 node under {}", names.join(" and "), root.name));
    for &name in names {
        let block = if name == JsIntKey::NAME {
            derive::js_int_block(dev_eui)
        } else {
            derive::js_enc_block(dev_eui)
        };
        let number = if name == JsEncKey::NAME { "05" } else { "06" };
        let parts = laid(
            &block,
            &[
                (number, 1, format!("for {name}")),
                ("DevEUI", 8, format!("{dev_eui}, last byte first")),
                ("zeros", 7, String::new()),
            ],
        );
        derive(&mut desk, Made { name, root, block, parts });
    }
    desk.done("They depend on nothing but the node, and live as long as its root key.")
}

/// What a multicast group's keys are made of.
#[derive(Clone, Copy)]
pub(crate) struct Group<'a> {
    /// GenAppKey or AppKey.
    pub(crate) root: Option<(&'a str, &'a Aes128Key)>,
    pub(crate) encrypted: Option<Block>,
    pub(crate) mc_key: Option<&'a McKey>,
    pub(crate) mc_addr: Option<DevAddr>,
}

/// The keys of a multicast group (TS005).
pub(crate) fn multicast(group: Group<'_>) -> Sheet {
    let mut desk = Desk::new("Keys of a multicast group (TS005)");
    if let Some((name, key)) = group.root {
        let root = Key { name, key };
        let (first, block) = if name == AppKey::NAME {
            ("20", derive::MC_ROOT_BLOCK_1_1)
        } else {
            ("00", derive::MC_ROOT_BLOCK_1_0)
        };
        let parts = laid(&block, &[(first, 1, String::new()), ("zeros", 15, String::new())]);
        let mc_root = derive(&mut desk, Made { name: McRootKey::NAME, root, block, parts });
        let root = Key { name: McRootKey::NAME, key: &mc_root };
        let block = derive::MC_ROOT_BLOCK_1_0;
        let parts = laid(&block, &[("zeros", 16, String::new())]);
        let kek = derive(&mut desk, Made { name: McKeKey::NAME, root, block, parts });
        if let Some(encrypted) = group.encrypted.filter(|_| group.mc_key.is_none()) {
            desk.given("McKey_encrypted", &encrypted, "as it travels");
            let kek = Key { name: McKeKey::NAME, key: &kek };
            desk.aes(McKey::NAME, kek, "McKey_encrypted", true, "");
        }
    }
    let given = group.mc_key.map(|key| key.key().clone());
    let mc_key = given.or_else(|| desk.as_key(McKey::NAME));
    if let (Some(key), Some(addr)) = (&mc_key, group.mc_addr) {
        let root = Key { name: McKey::NAME, key };
        for (first, name) in [(1, McAppSKey::NAME), (2, McNwkSKey::NAME)] {
            let block = derive::mc_block(first, addr);
            let number = format!("{first:02X}");
            let note = format!("{addr}, last byte first");
            let names = [
                (number.as_str(), 1, format!("for {name}")),
                ("McAddr", 4, note),
                ("zeros", 11, String::new()),
            ];
            let parts = laid(&block, &names);
            derive(&mut desk, Made { name, root, block, parts });
        }
    }
    desk.done("McAppSKey encrypts and McNwkSKey signs the frames of the group.")
}
