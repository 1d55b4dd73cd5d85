//! Encryption: FRMPayload, FOpts (1.1), and the Join-Accept turned both ways.
//!
//! FRMPayload and FOpts are exclusive-or'd with a key stream, so that encrypting and decrypting
//! are one operation. A Join-Accept is ECB without chaining; the server decrypts to encrypt, the
//! node encrypts to decrypt (LoRaWAN 1.0.4 p. 46, 1.1 6.2.3).

use aes::{
    Aes128,
    cipher::{Array, BlockCipherDecrypt, BlockCipherEncrypt, KeyInit},
};

use super::{
    Block,
    block::{self, FOptsRule, Place},
    mic::Verified,
};
use crate::{
    frame::{DataFrame, JoinAccept, OpenedJoinAccept, SealedJoinAccept},
    key::{Aes128Key, AppSKey, JoinKey, JsEncKey, McAppSKey, NwkSEncKey, NwkSKey},
};

/// The key under which a payload travels: by FPort, version and group.
#[derive(Clone, Copy, Debug)]
pub enum PayloadKey<'a> {
    /// FPort 1 to 255.
    App(&'a AppSKey),
    /// FPort 0 in 1.1.
    NetworkEnc(&'a NwkSEncKey),
    /// FPort 0 in 1.0.x.
    Network(&'a NwkSKey),
    /// Multicast.
    Group(&'a McAppSKey),
}

impl PayloadKey<'_> {
    fn key(&self) -> &Aes128Key {
        match self {
            Self::App(key) => key.key(),
            Self::NetworkEnc(key) => key.key(),
            Self::Network(key) => key.key(),
            Self::Group(key) => key.key(),
        }
    }
}

/// Returns the payload of a frame whose MIC holds, in clear. `fcnt` is the whole counter.
pub fn payload(frame: &Verified<'_, DataFrame>, key: PayloadKey<'_>, fcnt: u32) -> Vec<u8> {
    payload_unverified(frame.frame(), key, fcnt)
}

/// As [`payload`], of a frame whose MIC was not checked or does not hold: the octets may be noise.
pub fn payload_unverified(frame: &DataFrame, key: PayloadKey<'_>, fcnt: u32) -> Vec<u8> {
    let place = Place { direction: frame.direction(), dev_addr: frame.dev_addr, fcnt };
    let frm = frame.payload.as_ref().map(|p| p.frm.as_slice()).unwrap_or_default();
    payload_stream(key.key(), &place, frm)
}

/// Returns `octets` exclusive-or the key stream of A_1, A_2, ... (LoRaWAN 1.0.4 p. 24-25).
pub fn payload_stream(key: &Aes128Key, place: &Place, octets: &[u8]) -> Vec<u8> {
    let aes = Aes128::new(&Array::from(*key.expose()));
    let mut out = octets.to_vec();
    for (i, chunk) in (1u8..=u8::MAX).zip(out.chunks_mut(16)) {
        xor(chunk, encrypt(&aes, block::a(place, i)));
    }
    out
}

/// Returns FOpts of a 1.1 frame, encrypted or decrypted.
pub fn fopts(key: &NwkSEncKey, place: &Place, rule: FOptsRule, octets: &[u8]) -> Vec<u8> {
    let aes = Aes128::new(&Array::from(*key.key().expose()));
    let mut out = octets.to_vec();
    xor(&mut out, encrypt(&aes, block::a_fopts(place, rule)));
    out
}

fn encrypt(aes: &Aes128, block: Block) -> Block {
    let mut block = Array::from(block);
    aes.encrypt_block(&mut block);
    block.into()
}

fn xor(octets: &mut [u8], stream: Block) {
    octets.iter_mut().zip(stream).for_each(|(octet, key)| *octet ^= key);
}

/// The key that encrypts a Join-Accept, by what it answers.
#[derive(Clone, Copy, Debug)]
pub struct AcceptKey<'a>(&'a Aes128Key);

impl<'a> AcceptKey<'a> {
    /// The answer to a Join-Request: AppKey (1.0.x) or NwkKey (1.1).
    pub fn join(root: &'a impl JoinKey) -> Self {
        Self(root.join_key())
    }

    /// The answer to a Rejoin-Request: JSEncKey.
    pub const fn rejoin(key: &'a JsEncKey) -> Self {
        Self(key.key())
    }
}

/// Returns the Join-Accept as it travels: each block of fields and MIC decrypted.
pub fn seal_join_accept(key: AcceptKey<'_>, accept: &JoinAccept) -> SealedJoinAccept {
    let octets = accept.octets();
    let (_, body) = octets.split_at(1);
    SealedJoinAccept { mhdr: accept.mhdr, sealed: ecb(key.0, body, Turn::Decrypt) }
}

/// Returns the Join-Accept as the key opens it, right or wrong: only a MIC can tell.
///
/// `None` when the sealed part is neither one block nor two.
pub fn open_join_accept(key: AcceptKey<'_>, sealed: &SealedJoinAccept) -> Option<OpenedJoinAccept> {
    open(key.0, sealed, Turn::Encrypt)
}

/// As [`open_join_accept`], of a server that wrongly *encrypted*: what no node can read.
pub fn open_encrypted_join_accept(
    key: AcceptKey<'_>,
    sealed: &SealedJoinAccept,
) -> Option<OpenedJoinAccept> {
    open(key.0, sealed, Turn::Decrypt)
}

fn open(key: &Aes128Key, sealed: &SealedJoinAccept, turn: Turn) -> Option<OpenedJoinAccept> {
    if !sealed.is_whole() {
        return None;
    }
    let mut octets = vec![sealed.mhdr.0];
    octets.extend(ecb(key, &sealed.sealed, turn));
    JoinAccept::read_opened(&octets).ok()
}

#[derive(Clone, Copy)]
enum Turn {
    Encrypt,
    Decrypt,
}

/// ECB over whole blocks; a rest shorter than a block stays as it is.
fn ecb(key: &Aes128Key, octets: &[u8], turn: Turn) -> Vec<u8> {
    let aes = Aes128::new(&Array::from(*key.expose()));
    let mut out = octets.to_vec();
    let (blocks, _) = out.as_chunks_mut::<16>();
    for block in blocks {
        let mut turned = Array::from(*block);
        match turn {
            Turn::Encrypt => aes.encrypt_block(&mut turned),
            Turn::Decrypt => aes.decrypt_block(&mut turned),
        }
        *block = turned.into();
    }
    out
}
