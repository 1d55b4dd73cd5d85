//! AES-CMAC (RFC 4493, NIST SP 800-38B), made for many short messages.
//!
//! A MIC is two to five blocks, each of which waits for the one before. What costs beside AES is
//! asking the processor for every block anew how it does AES, and copying messages into a buffer;
//! here a whole message is one such question and no copy.

use aes::{
    Aes128,
    cipher::{
        Array, BlockCipherEncBackend, BlockCipherEncClosure, BlockCipherEncrypt, BlockSizeUser,
        KeyInit, consts::U16,
    },
};
use zeroize::Zeroize;

use super::Block;
use crate::key::Aes128Key;

/// A key made ready: its schedule and its two subkeys.
pub(super) struct Cmac {
    aes: Aes128,
    k1: Block,
    k2: Block,
}

impl Cmac {
    pub(super) fn new(key: &Aes128Key) -> Self {
        let aes = Aes128::new(&Array::from(*key.expose()));
        let (_, k1, k2) = subkeys(&aes);
        Self { aes, k1, k2 }
    }

    /// Returns the CMAC of the parts, one after another.
    pub(super) fn tag(&self, parts: &[&[u8]]) -> Block {
        let mut tag = [0; 16];
        self.aes.encrypt_with_backend(Chain { parts, k1: &self.k1, k2: &self.k2, tag: &mut tag });
        tag
    }
}

impl Drop for Cmac {
    fn drop(&mut self) {
        self.k1.zeroize();
        self.k2.zeroize();
    }
}

/// Doubles in GF(2^128), as RFC 4493, 2.3 does to make the subkeys.
pub(super) const fn double(block: u128) -> u128 {
    (block << 1) ^ if block >> 127 == 1 { 0x87 } else { 0 }
}

/// Returns L, K1 and K2 (RFC 4493, 2.3).
fn subkeys(aes: &Aes128) -> (Block, Block, Block) {
    let mut l = Array::from([0; 16]);
    aes.encrypt_block(&mut l);
    let k1 = double(u128::from_be_bytes(l.into()));
    (l.into(), k1.to_be_bytes(), double(k1).to_be_bytes())
}

/// Returns L, K1 and K2 of a key.
pub(super) fn subkeys_of(key: &Aes128Key) -> (Block, Block, Block) {
    subkeys(&Aes128::new(&Array::from(*key.expose())))
}

/// One message under one key (RFC 4493, 2.4).
struct Chain<'a> {
    parts: &'a [&'a [u8]],
    k1: &'a Block,
    k2: &'a Block,
    tag: &'a mut Block,
}

impl BlockSizeUser for Chain<'_> {
    type BlockSize = U16;
}

impl BlockCipherEncClosure for Chain<'_> {
    fn call<B: BlockCipherEncBackend<BlockSize = U16>>(self, backend: &B) {
        let mut state = Array::from([0; 16]);
        // Octets of the current block that are in `state`. A full block stays until it is known
        // whether another octet follows: the last one is treated apart.
        let mut filled = 0;
        for &part in self.parts {
            let mut part = part;
            while !part.is_empty() {
                if filled == 16 {
                    backend.encrypt_block_inplace(&mut state);
                    filled = 0;
                }
                if filled == 0
                    && let Some((block, rest)) = part.split_first_chunk()
                {
                    state = Array::from(xor(state.into(), block));
                    filled = 16;
                    part = rest;
                } else {
                    let (head, rest) = part.split_at(part.len().min(16 - filled));
                    state.iter_mut().skip(filled).zip(head).for_each(|(s, octet)| *s ^= octet);
                    filled += head.len();
                    part = rest;
                }
            }
        }
        let subkey = match state.get_mut(filled) {
            Some(octet) => {
                *octet ^= 0x80;
                self.k2
            }
            None => self.k1,
        };
        state = Array::from(xor(state.into(), subkey));
        backend.encrypt_block_inplace(&mut state);
        *self.tag = state.into();
    }
}

fn xor(left: Block, right: &Block) -> Block {
    (u128::from_ne_bytes(left) ^ u128::from_ne_bytes(*right)).to_ne_bytes()
}

#[cfg(test)]
mod tests {
    use cmac::{KeyInit as _, Mac};
    use proptest::{collection::vec, prelude::*};

    use super::*;

    proptest! {
        #[test]
        fn every_message_in_any_parts_has_the_tag_that_another_implementation_gives_it(
            key in any::<[u8; 16]>(),
            parts in vec(vec(any::<u8>(), 0..40), 0..6),
        ) {
            let mut other = cmac::Cmac::<Aes128>::new(&key.into());
            other.update(&parts.concat());
            let parts: Vec<_> = parts.iter().map(Vec::as_slice).collect();
            let ours = Cmac::new(&Aes128Key::new(key)).tag(&parts);
            prop_assert_eq!(&ours[..], &other.finalize().into_bytes()[..]);
        }
    }
}
