//! Session keys as a node that misread the standard derives them.

use crate::{
    crypto::{
        Block,
        derive::{SessionKeys, block_1_0, block_1_1},
        encrypt_block,
    },
    frame::JoinAccept,
    id::{DevNonce, JoinEui, JoinNonce, NetId},
    key::{Aes128Key, AppKey, NwkKey},
};

/// Returns the keys by one of six misreadings.
pub(super) fn misread(
    which: u32,
    by_1_1: bool,
    root: &NwkKey,
    app: &AppKey,
    accept: &JoinAccept,
    join_eui: JoinEui,
    nonce: DevNonce,
) -> SessionKeys {
    let mut join_nonce = accept.join_nonce;
    let mut net_id = accept.net_id;
    let mut dev_nonce = nonce;
    let mut eui = join_eui;
    let mut octets = [1, 3, 4, 2];
    let mut order = by_1_1;
    let (nonce_turned, dev_turned) = (is_turned(join_nonce), nonce.0.swap_bytes() != nonce.0);
    match which % 6 {
        0 if nonce_turned => join_nonce = turned(join_nonce.to_wire(), JoinNonce::from_wire),
        1 if dev_turned => dev_nonce = DevNonce(nonce.0.swap_bytes()),
        // NwkSKey and AppSKey in each other's place; also where turning a value changes nothing.
        0..=2 => octets = [2, 3, 4, 1],
        3 if by_1_1 => eui = JoinEui(join_eui.0.bytes_reversed()),
        3 => net_id = turned(net_id.to_wire(), NetId::from_wire),
        // The identifier of the other rule in the middle.
        4 => order = !by_1_1,
        _ => {
            join_nonce = turned(join_nonce.to_wire(), JoinNonce::from_wire);
            net_id = turned(net_id.to_wire(), NetId::from_wire);
            eui = JoinEui(join_eui.0.bytes_reversed());
            dev_nonce = DevNonce(nonce.0.swap_bytes());
        }
    }
    let block = |first: u8| -> Block {
        if order {
            block_1_1(first, join_nonce, eui, dev_nonce)
        } else {
            block_1_0(first, join_nonce, net_id, dev_nonce)
        }
    };
    let of = |key: &Aes128Key, first: u8| encrypt_block(key, block(first));
    let [forwarding, serving, encrypting, application] = octets;
    if by_1_1 {
        SessionKeys::V1_1 {
            f_nwk_s_int_key: of(root.key(), forwarding).into(),
            s_nwk_s_int_key: of(root.key(), serving).into(),
            nwk_s_enc_key: of(root.key(), encrypting).into(),
            app_s_key: Some(of(app.key(), application).into()),
        }
    } else {
        SessionKeys::V1_0 {
            nwk_s_key: of(root.key(), forwarding).into(),
            app_s_key: Some(of(root.key(), application).into()),
        }
    }
}

fn turned<T>(mut wire: [u8; 3], make: fn([u8; 3]) -> T) -> T {
    wire.reverse();
    make(wire)
}

/// Whether a nonce is another one when its octets are turned.
fn is_turned(nonce: JoinNonce) -> bool {
    turned(nonce.to_wire(), JoinNonce::from_wire) != nonce
}
