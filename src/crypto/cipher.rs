//! Encryption: FRMPayload, FOpts (1.1), and the Join-Accept turned both ways.
//!
//! FRMPayload and FOpts are exclusive-or'd with a key stream, so that encrypting and decrypting
//! are one operation. What is decrypted is worth nothing unless the MIC holds: [`payload`] and [`fopts`]
//! take a [`Verified`] frame, and find key and counter by what its proof says. A Join-Accept is ECB
//! without chaining; the server decrypts to encrypt, the node encrypts to decrypt (LoRaWAN 1.0.4 p. 46,
//! 1.1 6.2.3).

use alloc::{borrow::Cow, vec, vec::Vec};
use core::borrow::Borrow;

use aes::{
    Aes128,
    cipher::{Array, BlockCipherDecrypt, BlockCipherEncrypt, KeyInit},
};

use super::{
    Block,
    block::{self, BlockFields, FOptsRule, FOptsText},
    scheme::{EncryptionKeys, PayloadKey, PayloadRole},
    verify::Verified,
};
use crate::{
    frame::{DataFrame, JoinAccept, OpenedJoinAccept, SealedJoinAccept},
    key::{Aes128Key, JoinKey, JsEncKey, NwkSEncKey},
};

/// FRMPayload in clear.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct PlainPayload {
    /// The octets.
    pub octets: Vec<u8>,
    /// The key that encrypted them.
    pub role: PayloadRole,
}

/// Returns FRMPayload of a verified frame in clear.
///
/// `None` without FPort, and where the key that its port asks for is not at hand.
pub fn payload<F: Borrow<DataFrame>>(
    verified: &Verified<F>,
    keys: &EncryptionKeys<'_>,
) -> Option<PlainPayload> {
    let payload = verified.frame().payload.as_ref()?;
    let role = verified.proof().by().scheme().payload_role(payload.port);
    let key = keys.payload_key(role)?;
    Some(PlainPayload { octets: encrypt_payload(key, &verified.place(), &payload.frm), role })
}

/// Returns FOpts of a verified frame in clear: as sent in 1.0.x, decrypted in 1.1.
///
/// `None` where NwkSEncKey is needed and not at hand. `text` counts in 1.1 alone.
pub fn fopts<'a, F: Borrow<DataFrame>>(
    verified: &'a Verified<F>,
    keys: &EncryptionKeys<'_>,
    text: FOptsText,
) -> Option<Cow<'a, [u8]>> {
    let frame = verified.frame();
    let sent = frame.fopts.octets();
    if !verified.proof().by().scheme().encrypts_fopts() || sent.is_empty() {
        return Some(sent.into());
    }
    let rule = FOptsRule::of(text, frame.direction(), frame.port());
    Some(encrypt_fopts(keys.nwk_s_enc_key?, &verified.place(), rule, sent).into())
}

/// Returns FRMPayload as it would be under that key and whole counter, though nothing proves either:
/// the octets may be noise.
///
/// For explorers, which judge a guess by what comes out, and for frames whose MIC nobody at hand can
/// check: never report what comes of it as a fact.
pub fn decrypt_unproven(frame: &DataFrame, key: &Aes128Key, fcnt: u32) -> Vec<u8> {
    let place = BlockFields { direction: frame.direction(), dev_addr: frame.dev_addr, fcnt };
    let frm = frame.payload.as_ref().map(|p| p.frm.as_slice()).unwrap_or_default();
    payload_stream(key, &place, frm)
}

/// Returns FRMPayload encrypted.
pub fn encrypt_payload(key: PayloadKey<'_>, place: &BlockFields, clear: &[u8]) -> Vec<u8> {
    payload_stream(key.key(), place, clear)
}

/// Returns octets exclusive-or the key stream of A_1, A_2, ... (LoRaWAN 1.0.4 p. 24-25).
fn payload_stream(key: &Aes128Key, place: &BlockFields, octets: &[u8]) -> Vec<u8> {
    let aes = Aes128::new(&Array::from(*key.expose()));
    let mut out = octets.to_vec();
    for (i, chunk) in (1u8..=u8::MAX).zip(out.chunks_mut(16)) {
        xor(chunk, encrypt(&aes, block::a(place, i)));
    }
    out
}

/// Returns FOpts of a 1.1 frame encrypted.
pub fn encrypt_fopts(
    key: &NwkSEncKey,
    place: &BlockFields,
    rule: FOptsRule,
    clear: &[u8],
) -> Vec<u8> {
    let aes = Aes128::new(&Array::from(*key.key().expose()));
    let mut out = clear.to_vec();
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
