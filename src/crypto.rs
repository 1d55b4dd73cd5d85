//! Cryptography: pure functions of keys and frames; AES-128 and key wrap come from the crates.
//!
//! | file | what it computes |
//! |------|------------------|
//! | [`block`] | B0, B1 and A_i, the blocks in front of a MIC and under a key stream |
//! | [`mic`] | the MIC of every message in every version; the checks of a join |
//! | [`verify`] | the check of a data frame, and [`Verified`], which it yields |
//! | [`scheme`] | which key of a session does what |
//! | [`cipher`] | FRMPayload and FOpts of verified frames, and the Join-Accept turned both ways |
//! | [`derive`](mod@derive) | session keys, JSIntKey and JSEncKey, multicast and relay keys |
//! | [`wrap`] | RFC 3394 key wrap, as key envelopes use it |
//!
//! The `aes`, `cmac` and `aes-kw` crates compute. One block kernel of our own is left, where a search
//! tries millions of keys on one message: it is with that search.
//!
//! LoRaWAN computes with AES encryption alone on the node: a server *decrypts* a Join-Accept to
//! encrypt it. Which claim a key came from, and what a mismatch means, is the ladder's business.

pub mod block;
pub mod cipher;
pub mod derive;
pub mod mic;
pub mod scheme;
pub mod verify;
pub mod wrap;

use aes::{
    Aes128,
    cipher::{Array, BlockCipherDecrypt, BlockCipherEncrypt, KeyInit},
};

use crate::key::Aes128Key;

pub use mic::{Mismatch, Signer};
pub use scheme::{EncryptionKeys, PayloadKey, PayloadRole, Scheme};
pub use verify::{
    DataMismatch, IntegrityKeys, MicInput, Proof, SignedBy, Unseen, Verified, Verifier,
};

/// One AES block.
pub type Block = [u8; 16];

/// Returns the AES-128 encryption of one block (FIPS 197).
pub fn encrypt_block(key: &Aes128Key, block: Block) -> Block {
    let mut block = Array::from(block);
    Aes128::new(&Array::from(*key.expose())).encrypt_block(&mut block);
    block.into()
}

/// Returns the AES-128 decryption of one block (FIPS 197).
pub fn decrypt_block(key: &Aes128Key, block: Block) -> Block {
    let mut block = Array::from(block);
    Aes128::new(&Array::from(*key.expose())).decrypt_block(&mut block);
    block.into()
}

/// Returns a block that begins with `octets` and ends in zeros: pad16 of the standard.
fn pad16(octets: &[&[u8]]) -> Block {
    let mut block = [0; 16];
    let all = octets.iter().flat_map(|part| part.iter().copied());
    block.iter_mut().zip(all).for_each(|(out, octet)| *out = octet);
    block
}
