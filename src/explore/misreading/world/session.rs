//! Session keys and data frames with mistakes in them, octet by octet.

use super::{Noise, World, mac, reversed, zeros};
use crate::{
    crypto::{decrypt_block, encrypt_block},
    explore::misreading::{Heard, Join, Rule},
    frame::{DataFrame, Direction, FCtrl, FOpts, FType, Mic, Payload},
    key::Aes128Key,
};

/// A frame and what it does not say itself.
#[derive(Clone, Debug)]
pub(in super::super) struct Sent {
    pub(in super::super) frame: DataFrame,
    pub(in super::super) fcnt: u32,
    pub(in super::super) conf: u16,
    pub(in super::super) dr: u8,
    pub(in super::super) ch: u8,
}

impl Sent {
    /// The frame as heard by somebody who knows all.
    pub(in super::super) fn heard(&self) -> Heard<'_> {
        Heard {
            frame: &self.frame,
            fcnt: self.fcnt,
            conf_fcnt: Some(self.conf),
            tx_dr: Some(self.dr),
            tx_ch: Some(self.ch),
        }
    }

    /// The frame as one gateway hears it.
    pub(in super::super) fn heard_by_a_gateway(&self) -> Heard<'_> {
        Heard { tx_ch: None, ..self.heard() }
    }
}

/// Four frames: two with ACK, two without, on application ports and port 0, counters beyond 65535.
pub(in super::super) fn frames(world: &World, direction: Direction, ids: &[&str]) -> Vec<Sent> {
    let mut noise = Noise::new(world.accept.dev_addr.0.into());
    let ftype = match direction {
        Direction::Uplink => FType::UnconfirmedDataUp,
        Direction::Downlink => FType::UnconfirmedDataDown,
    };
    let kinds = [
        (0x20, 2, 0x0001_0203),
        (0x80, 7, 0x0001_0204),
        (0, 0, 0x0001_0207),
        (0x20, 9, 0x0001_0208),
    ];
    let mut sent: Vec<Sent> = kinds
        .into_iter()
        .zip([3, 4, 6, 7])
        .map(|((flags, port, fcnt), ch)| {
            let [low, high, ..] = u32::to_le_bytes(fcnt);
            let fcnt16 = u16::from_le_bytes([low, high]);
            let mut frame = DataFrame::new(ftype, world.accept.dev_addr, fcnt16);
            frame.fctrl = FCtrl::new(flags);
            frame.payload = Some(Payload { port, frm: noise.draw::<5>().to_vec() });
            if port > 0 {
                frame.fopts = FOpts::new(noise.draw::<2>()).unwrap();
            }
            Sent { frame, fcnt, conf: 0x0105, dr: 5, ch }
        })
        .collect();
    for sent in &mut sent {
        sent.frame.mic = Mic(signed_mic(world, sent, ids));
    }
    sent
}

/// FNwkSIntKey (NwkSKey), SNwkSIntKey, NwkSEncKey and AppSKey with these mistakes.
pub(in super::super) fn derived(world: &World, ids: &[&str]) -> [Aes128Key; 4] {
    let has = |id: &str| ids.contains(&id);
    let rule = key_rule(world, ids);
    let mut join_nonce = world.accept.join_nonce;
    let mut net_id = world.accept.net_id;
    let mut dev_nonce = world.asked[0].nonce;
    let other = world.other_joins[1];
    if has("keys-of-another-join") {
        (join_nonce, net_id, dev_nonce) = (other.join_nonce, other.net_id, other.dev_nonce);
    }
    if has("join-nonce-of-another-accept") {
        join_nonce = other.join_nonce;
    }
    if has("dev-nonce-of-another-attempt") {
        dev_nonce = world.other_nonces[0];
    }
    let rest = |join_nonce: [u8; 3], net_id: [u8; 3], dev_nonce: [u8; 2]| {
        let all = has("all-fields-turned-in-session-keys");
        let turn = |octets: &[u8], id: &str| {
            if all || has(id) { reversed(octets) } else { octets.to_vec() }
        };
        let join_nonce = turn(&join_nonce, "join-nonce-turned-in-session-keys");
        let dev_nonce = turn(&dev_nonce, "dev-nonce-turned-in-session-keys");
        let eui_turned = "join-eui-turned-in-session-keys";
        let mut middle = match rule {
            Rule::V1_0 => turn(&net_id, "net-id-turned-in-session-keys"),
            Rule::V1_1 => turn(&world.join_eui.to_wire(), eui_turned),
        };
        if has("net-id-for-join-eui") {
            middle = turn(&net_id, "net-id-turned-in-session-keys");
        }
        if has("join-eui-for-net-id") {
            middle = turn(&world.join_eui.to_wire(), eui_turned);
        }
        if has("dev-eui-in-session-keys") {
            middle = turn(&world.dev_eui.to_wire(), eui_turned);
        }
        if has("nonces-exchanged-in-session-keys") {
            [dev_nonce, middle, join_nonce].concat()
        } else if has("identifier-first-in-session-keys") {
            [middle, join_nonce, dev_nonce].concat()
        } else {
            [join_nonce, middle, dev_nonce].concat()
        }
    };
    let make = |root: &Aes128Key, octet: u8, rest: &[u8]| {
        let mut block = [&[octet], rest].concat();
        if has("session-key-block-padded-by-pkcs7") {
            let pad = 16 - block.len();
            block.resize(16, u8::try_from(pad).unwrap());
        }
        let block = zeros(&block);
        Aes128Key::new(if has("session-keys-by-aes-decryption") {
            decrypt_block(root, block)
        } else {
            encrypt_block(root, block)
        })
    };
    let mut octets = [1, 3, 4, 2];
    for (id, a, b) in [
        ("octets-01-and-02-exchanged", 0, 3),
        ("octets-01-and-03-exchanged", 0, 1),
        ("octets-03-and-04-exchanged", 1, 2),
    ] {
        if has(id) {
            octets.swap(a, b);
        }
    }
    let network = if has("network-keys-from-the-other-root-key") { &world.app } else { &world.nwk };
    let mut app = if rule == Rule::V1_1 { &world.app } else { network };
    if has("app-s-key-from-the-network-root-key") {
        app = network;
    }
    if has("app-s-key-from-the-other-root-key") {
        app = &world.app;
    }
    let zero = Aes128Key::new([0; 16]);
    if has("app-s-key-from-a-zero-root-key") {
        app = &zero;
    }
    let this = rest(join_nonce.to_wire(), net_id.to_wire(), dev_nonce.to_wire());
    let mut for_app = this.clone();
    if has("app-s-key-of-another-join") {
        let Join { join_nonce, net_id, dev_nonce } = other;
        for_app = rest(join_nonce.to_wire(), net_id.to_wire(), dev_nonce.to_wire());
    }
    let [f, s, e, a] = octets;
    let forwarding = make(network, f, &this);
    let (serving, enc) = match rule {
        Rule::V1_0 => (forwarding.clone(), forwarding.clone()),
        Rule::V1_1 => (make(network, s, &this), make(network, e, &this)),
    };
    [forwarding, serving, enc, make(app, a, &for_app)]
}

fn key_rule(world: &World, ids: &[&str]) -> Rule {
    match world.rule {
        Rule::V1_0 if ids.contains(&"rule-of-1.1-though-opt-neg-is-clear") => Rule::V1_1,
        Rule::V1_1 if ids.contains(&"rule-of-1.0-though-opt-neg-is-set") => Rule::V1_0,
        rule => rule,
    }
}

/// The MIC of a frame with these mistakes.
pub(in super::super) fn signed_mic(world: &World, sent: &Sent, ids: &[&str]) -> [u8; 4] {
    let has = |id: &str| ids.contains(&id);
    let mut rule = key_rule(world, ids);
    if has("data-mic-of-1.0-though-keys-are-of-1.1") {
        rule = Rule::V1_0;
    }
    if has("data-mic-of-1.1-though-keys-are-of-1.0") {
        rule = Rule::V1_1;
    }
    let [forwarding, serving, enc, app] = derived(world, ids);
    let msg = message(sent, ids, &enc, &app);
    let dir = sent.frame.direction().octet();
    let wire_addr = sent.frame.dev_addr.to_wire();

    let ack = sent.frame.fctrl.ack();
    let mut conf = if ack { sent.conf } else { 0 };
    if has("conf-fcnt-left-out") {
        conf = 0;
    }
    if ack && has("conf-fcnt-one-too-high") {
        conf += 1;
    }
    if ack && has("conf-fcnt-one-too-low") {
        conf -= 1;
    }
    if has("conf-fcnt-without-ack") {
        conf = sent.conf;
    }
    let both = has("tx-dr-and-tx-ch-left-out");
    let mut tx = [sent.dr, sent.ch];
    if both || has("tx-dr-left-out") {
        tx[0] = 0;
    }
    if both || has("tx-ch-left-out") {
        tx[1] = 0;
    }
    if has("tx-dr-and-tx-ch-exchanged") {
        tx.reverse();
    }
    let block = |conf: u16, tx: [u8; 2]| {
        let first = if has("block-begins-with-01") { 0x01 } else { 0x49 };
        let dir = if has("dir-inverted-in-block") { 1 - dir } else { dir };
        let mut addr = wire_addr;
        if has("dev-addr-turned-in-block") {
            addr.reverse();
        }
        let mut counter = sent.fcnt.to_le_bytes();
        if has("counter-upper-half-lost") {
            counter[2..].fill(0);
        }
        if has("counter-turned-in-block") {
            counter.reverse();
        }
        let mut len = u8::try_from(msg.len()).unwrap();
        if has("mic-counted-in-block-length") {
            len += 4;
        }
        if has("length-left-out-of-block") {
            len = 0;
        }
        let block =
            [&[first], &conf.to_le_bytes()[..], &tx, &[dir], &addr, &counter, &[0, len]].concat();
        if has("block-left-out") { Vec::new() } else { block }
    };
    let cmac =
        |key: &Aes128Key, block: Vec<u8>| mac(key, &[block, msg.clone()].concat(), ids, "data");
    let conf_in_b0 = if has("conf-fcnt-in-b0") { conf } else { 0 };
    let end = has("data-mic-from-the-end-of-the-cmac");
    let at = if end { 12 } else { 0 };
    let mut mic: [u8; 4] = match (rule, sent.frame.direction()) {
        (Rule::V1_1, Direction::Uplink) => {
            let s_key =
                if has("both-halves-under-f-nwk-s-int-key") { &forwarding } else { &serving };
            let f_key =
                if has("both-halves-under-s-nwk-s-int-key") { &serving } else { &forwarding };
            let s = cmac(s_key, block(conf, tx));
            let f = cmac(f_key, block(conf_in_b0, [0, 0]));
            let at = if end { 14 } else { 0 };
            let f_at = if has("forwarding-half-from-octets-2-and-3") { 2 } else { at };
            let mut halves = [&s[at..at + 2], &f[f_at..f_at + 2]];
            if has("mic-halves-exchanged") {
                halves.reverse();
            }
            halves.concat().try_into().unwrap()
        }
        (Rule::V1_1, Direction::Downlink) => {
            let other = has("downlink-mic-under-f-nwk-s-int-key");
            let key = if other { &forwarding } else { &serving };
            cmac(key, block(conf, [0, 0]))[at..at + 4].try_into().unwrap()
        }
        (Rule::V1_0, _) => {
            // Of the keys of 1.1 the one for forwarding signs.
            let key = if has("both-halves-under-s-nwk-s-int-key") { &serving } else { &forwarding };
            cmac(key, block(conf_in_b0, [0, 0]))[at..at + 4].try_into().unwrap()
        }
    };
    if has("data-mic-back-to-front") {
        mic.reverse();
    }
    mic
}

/// The octets that the MIC covers, after its block.
fn message(sent: &Sent, ids: &[&str], enc: &Aes128Key, app: &Aes128Key) -> Vec<u8> {
    let has = |id: &str| ids.contains(&id);
    let mut msg = Vec::new();
    sent.frame.put_signed(&mut msg);
    let dir = sent.frame.direction().octet();
    let wire_addr = sent.frame.dev_addr.to_wire();
    if has("mic-made-before-encryption") {
        let payload = sent.frame.payload.as_ref().unwrap();
        let key = if payload.port == 0 { enc } else { app };
        let counter = sent.fcnt.to_le_bytes();
        let a1 = [&[1, 0, 0, 0, 0, dir], &wire_addr[..], &counter, &[0, 1]].concat();
        let stream = encrypt_block(key, a1.try_into().unwrap());
        let at = msg.len() - payload.frm.len();
        msg[at..].iter_mut().zip(stream).for_each(|(octet, key)| *octet ^= key);
    }
    if has("mhdr-left-out-of-data-mic") {
        msg.remove(0);
    }
    msg
}
