//! A node and a server for the tests, and a second way to make every frame with a mistake in it.
//!
//! Nothing here knows a [`Recipe`](super::Recipe): blocks are laid down by hand and the mistakes
//! are told by their ids, so that the explorers and these cannot be wrong together unseen.

mod accept;
mod session;

pub(super) use accept::{request_mic, sealed_accept};
pub(super) use session::{Sent, derived, frames, signed_mic};

use super::{Asked, Join, Known, Role, Row, Rule, rows};
use crate::{
    crypto::{encrypt_block, mic::JoinReqType},
    frame::{CfList, DlSettings, FType, JoinAccept, Mhdr, Mic, RxDelay},
    id::{DevAddr, DevEui, DevNonce, Eui64, JoinEui, JoinNonce, NetId},
    key::Aes128Key,
};

/// A source of octets that are as good as random and the same in every run.
pub(super) struct Noise {
    seed: u64,
    drawn: u64,
}

impl Noise {
    pub(super) fn new(seed: u64) -> Self {
        Self { seed, drawn: 0 }
    }

    pub(super) fn draw<const N: usize>(&mut self) -> [u8; N] {
        self.drawn += 1;
        let block = [self.seed.to_be_bytes(), self.drawn.to_be_bytes()].concat();
        let block = encrypt_block(&Aes128Key::new([3; 16]), block.try_into().unwrap());
        block[..N].try_into().unwrap()
    }

    pub(super) fn below(&mut self, n: usize) -> usize {
        usize::try_from(u64::from_be_bytes(self.draw())).unwrap() % n
    }
}

/// All values of one join and the attempts about it.
pub(super) struct World {
    pub(super) rule: Rule,
    pub(super) nwk: Aes128Key,
    pub(super) app: Aes128Key,
    pub(super) dev_eui: DevEui,
    pub(super) join_eui: JoinEui,
    pub(super) accept: JoinAccept,
    /// The request answered, then two others.
    pub(super) asked: Vec<Asked>,
    pub(super) other_nonces: Vec<DevNonce>,
    pub(super) other_joins: Vec<Join>,
}

impl World {
    pub(super) fn new(seed: u64, rule: Rule) -> Self {
        let mut noise = Noise::new(seed);
        let opt_neg = if rule == Rule::V1_1 { 0x80 } else { 0 };
        let nonces = [(); 3].map(|()| DevNonce::from_wire(noise.draw()));
        let join = |noise: &mut Noise, dev_nonce| Join {
            join_nonce: JoinNonce::from_wire(noise.draw()),
            net_id: NetId::from_wire(noise.draw()),
            dev_nonce,
        };
        let accept = JoinAccept {
            mhdr: Mhdr::new(FType::JoinAccept),
            join_nonce: JoinNonce::from_wire(noise.draw()),
            net_id: NetId::from_wire(noise.draw()),
            dev_addr: DevAddr::from_wire(noise.draw()),
            dl_settings: DlSettings(opt_neg | 3),
            rx_delay: RxDelay(1),
            cf_list: Some(CfList::of_frequencies(&[867_100_000, 867_300_000])),
            mic: Mic([0; 4]),
        };
        Self {
            rule,
            nwk: Aes128Key::new(noise.draw()),
            app: Aes128Key::new(noise.draw()),
            dev_eui: DevEui(Eui64::new(noise.draw())),
            join_eui: JoinEui(Eui64::new(noise.draw())),
            accept,
            asked: nonces.map(|nonce| Asked { kind: JoinReqType::Join, nonce }).to_vec(),
            other_nonces: nonces[1..].to_vec(),
            other_joins: vec![join(&mut noise, nonces[1]), join(&mut noise, nonces[2])],
        }
    }

    /// The claims: the root of the join first.
    pub(super) fn known(&self) -> [Known<'_>; 2] {
        [
            Known { label: "firmware NwkKey", key: &self.nwk, role: Role::Nwk },
            Known { label: "firmware AppKey", key: &self.app, role: Role::App },
        ]
    }
}

/// The row of that id.
pub(super) fn row(id: &str) -> &'static Row {
    rows().find(|row| row.id == id).unwrap_or_else(|| panic!("no row {id}"))
}

/// Pads with zeros to one block.
pub(super) fn zeros(octets: &[u8]) -> [u8; 16] {
    let mut block = octets.to_vec();
    block.resize(16, 0);
    block.try_into().unwrap()
}

pub(super) fn reversed(octets: &[u8]) -> Vec<u8> {
    octets.iter().rev().copied().collect()
}

/// AES-CMAC by hand, with the mistakes that `prefix` + id tell.
pub(super) fn mac(key: &Aes128Key, message: &[u8], ids: &[&str], prefix: &str) -> [u8; 16] {
    let has = |id: &str| ids.contains(&format!("{prefix}-{id}").as_str());
    let double = |block: [u8; 16]| {
        let value = u128::from_be_bytes(block);
        ((value << 1) ^ if value >> 127 == 1 { 0x87 } else { 0 }).to_be_bytes()
    };
    let k1 = double(encrypt_block(key, [0; 16]));
    let mut octets = message.to_vec();
    let padded = octets.is_empty() || !octets.len().is_multiple_of(16);
    if padded {
        octets.push(if has("mac-padded-with-zeros") { 0 } else { 0x80 });
        octets.resize(octets.len().next_multiple_of(16), 0);
    }
    let mut subkey = if padded && !has("mac-with-k1-for-k2") { double(k1) } else { k1 };
    if has("mac-without-subkey") {
        subkey = [0; 16];
    }
    let first = octets.len() - 16;
    octets[first..].iter_mut().zip(subkey).for_each(|(octet, k)| *octet ^= k);
    octets.chunks(16).fold([0; 16], |x, block| {
        let block: [u8; 16] = std::array::from_fn(|i| x[i] ^ block[i]);
        encrypt_block(key, block)
    })
}

/// Every pair of rows of these subjects that is a pair: neither undoes or swallows the other.
pub(super) fn pairs(subjects: &[super::Subject], rule: Rule) -> Vec<[&'static Row; 2]> {
    let rows: Vec<_> = rows().filter(|row| subjects.contains(&row.subject)).collect();
    let made = |of: &[&Row]| {
        let mut recipe = super::Recipe::standard(rule);
        for row in of {
            row.apply(&mut recipe);
        }
        recipe
    };
    let singles: Vec<_> = rows.iter().map(|row| made(&[row])).collect();
    let mut pairs = Vec::new();
    for (i, &a) in rows.iter().enumerate() {
        for &b in &rows[i + 1..] {
            let recipe = made(&[a, b]);
            if recipe == made(&[b, a]) && !singles.contains(&recipe) {
                pairs.push([a, b]);
            }
        }
    }
    pairs
}
