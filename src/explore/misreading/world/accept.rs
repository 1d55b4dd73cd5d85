//! Requests and accepts with mistakes in them, octet by octet.

use super::{World, mac, reversed, zeros};
use crate::{
    crypto::{decrypt_block, encrypt_block, mic::JoinReqType},
    frame::{FType, JoinRequest, Mhdr, SealedJoinAccept},
    key::Aes128Key,
};

/// The MIC of a request with these mistakes.
pub(in super::super) fn request_mic(world: &World, request: &JoinRequest, ids: &[&str]) -> [u8; 4] {
    let has = |id: &str| ids.contains(&id);
    let all = has("all-fields-turned-in-request-mic");
    let both = all || has("both-euis-turned-in-request-mic");
    let mut join_eui = request.join_eui.to_wire().to_vec();
    let mut dev_eui = request.dev_eui.to_wire().to_vec();
    let mut nonce = request.dev_nonce.to_wire().to_vec();
    if both || has("join-eui-turned-in-request-mic") {
        join_eui.reverse();
    }
    if both || has("dev-eui-turned-in-request-mic") {
        dev_eui.reverse();
    }
    if all || has("dev-nonce-turned-in-request-mic") {
        nonce.reverse();
    }
    if has("euis-exchanged-in-request-mic") {
        std::mem::swap(&mut join_eui, &mut dev_eui);
    }
    let mut octets = [vec![0], join_eui, dev_eui, nonce].concat();
    if has("mhdr-left-out-of-request-mic") {
        octets.remove(0);
    }
    if has("zero-mic-signed-in-request") {
        octets.extend([0; 4]);
    }
    let mut key = world.nwk.clone();
    if has("request-signed-under-js-int-key") {
        key = js_key(&world.nwk, 6, &request.dev_eui.to_wire());
    }
    cut(mac(&key, &octets, ids, "request"), ids, "request")
}

fn cut(mac: [u8; 16], ids: &[&str], prefix: &str) -> [u8; 4] {
    let has = |id: &str| ids.contains(&format!("{prefix}-{id}").as_str());
    let at = if has("mic-from-the-end-of-the-cmac") { 12 } else { 0 };
    let mut mic: [u8; 4] = mac[at..at + 4].try_into().unwrap();
    if has("mic-back-to-front") {
        mic.reverse();
    }
    mic
}

fn js_key(root: &Aes128Key, octet: u8, eui: &[u8]) -> Aes128Key {
    Aes128Key::new(encrypt_block(root, zeros(&[&[octet], eui].concat())))
}

/// The accept of a world with these mistakes, as it travels.
pub(in super::super) fn sealed_accept(world: &World, ids: &[&str]) -> SealedJoinAccept {
    let has = |id: &str| ids.contains(&id);
    let asked = world.asked[usize::from(has("answers-another-request"))];
    let accept = &world.accept;
    let body = accept.signed()[1..].to_vec();

    let js_root = if has("js-keys-from-the-other-root-key") { &world.app } else { &world.nwk };
    let js_eui = match () {
        () if has("no-eui-in-js-keys") => Vec::new(),
        () if has("join-eui-in-js-keys") => world.join_eui.to_wire().to_vec(),
        () if has("dev-eui-turned-in-js-keys") => reversed(&world.dev_eui.to_wire()),
        () => world.dev_eui.to_wire().to_vec(),
    };
    let (mut int, mut enc) = (6, 5);
    if has("js-key-octets-exchanged") {
        (int, enc) = (enc, int);
    }

    let mut by_1_1 = accept.dl_settings.opt_neg();
    if has("mic-rule-of-1.0-though-opt-neg-is-set") {
        by_1_1 = false;
    }
    if has("mic-rule-of-1.1-though-opt-neg-is-clear") {
        by_1_1 = true;
    }
    let mut input = Vec::new();
    if by_1_1 {
        if has("join-req-type-of-a-join-in-every-accept") {
            input.push(0xFF);
        } else if !has("join-req-type-left-out-of-accept-mic") {
            input.push(asked.kind.octet());
        }
        let turned = has("euis-and-nonce-turned-in-accept-mic");
        if has("dev-eui-for-join-eui-in-accept-mic") {
            input.extend(world.dev_eui.to_wire());
        } else if turned || has("join-eui-turned-in-accept-mic") {
            input.extend(reversed(&world.join_eui.to_wire()));
        } else if !has("join-eui-left-out-of-accept-mic") {
            input.extend(world.join_eui.to_wire());
        }
        let nonce = if has("nonce-of-another-request-in-accept-mic") {
            world.asked[2].nonce
        } else {
            asked.nonce
        };
        if turned || has("nonce-turned-in-accept-mic") {
            input.extend(reversed(&nonce.to_wire()));
        } else if !has("nonce-left-out-of-accept-mic") {
            input.extend(nonce.to_wire());
        }
    }
    if has("mhdr-zero-in-accept-mic") {
        input.push(0);
    } else if !has("mhdr-left-out-of-accept-mic") {
        input.push(0x20);
    }
    let mut fields = body.clone();
    let all = has("all-fields-turned-in-accept-mic");
    if all || has("join-nonce-turned-in-accept-mic") {
        fields[..3].reverse();
    }
    if all || has("net-id-turned-in-accept-mic") {
        fields[3..6].reverse();
    }
    if all || has("dev-addr-turned-in-accept-mic") {
        fields[6..10].reverse();
    }
    if has("cf-list-left-out-of-accept-mic") {
        fields.truncate(12);
    }
    input.extend(fields);
    let js_int = js_key(js_root, int, &js_eui);
    let mic_key =
        if by_1_1 == has("accept-mic-under-the-other-rules-key") { &world.nwk } else { &js_int };
    let mic = cut(mac(mic_key, &input, ids, "accept"), ids, "accept");

    let js_enc = js_key(js_root, enc, &js_eui);
    let is_join = asked.kind == JoinReqType::Join;
    let key = if is_join == has("accept-encrypted-under-the-wrong-kind-of-key") {
        &js_enc
    } else {
        &world.nwk
    };
    let sealed = if has("accept-mic-in-clear") {
        [seal(key, &[body.as_slice(), &[0; 4]].concat(), ids), mic.to_vec()].concat()
    } else if has("mhdr-encrypted-into-the-accept") {
        let mut inside = [&[0x20], body.as_slice(), &mic].concat();
        inside.resize(inside.len().next_multiple_of(16), 0);
        seal(key, &inside, ids)
    } else {
        seal(key, &[body.as_slice(), &mic].concat(), ids)
    };
    SealedJoinAccept { mhdr: Mhdr::new(FType::JoinAccept), sealed }
}

fn seal(key: &Aes128Key, plain: &[u8], ids: &[&str]) -> Vec<u8> {
    let has = |id: &str| ids.contains(&id);
    let mut out = Vec::new();
    let (mut last_plain, mut last_sealed) = ([0u8; 16], [0u8; 16]);
    for (i, block) in plain.chunks(16).enumerate() {
        let block: [u8; 16] = block.try_into().unwrap();
        let with = |other: [u8; 16]| std::array::from_fn(|i| block[i] ^ other[i]);
        let sealed = if has("accept-encrypted-by-aes-encryption") {
            encrypt_block(key, block)
        } else if has("accept-chained-by-aes-encryption") {
            encrypt_block(key, with(last_sealed))
        } else if has("accept-chained-by-aes-decryption") {
            let turned = decrypt_block(key, block);
            std::array::from_fn(|i| turned[i] ^ last_plain[i])
        } else if has("accept-encrypted-by-a-key-stream") {
            with(encrypt_block(key, u128::try_from(i).unwrap().to_be_bytes()))
        } else if has("accept-in-clear") {
            block
        } else {
            decrypt_block(key, block)
        };
        (last_plain, last_sealed) = (block, sealed);
        out.extend(sealed);
    }
    out
}
