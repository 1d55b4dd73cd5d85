//! AES-CMAC (RFC 4493, NIST SP 800-38B), made for many short messages.
//!
//! A MIC is two to five blocks, each of which waits for the one before. What costs beside AES is
//! asking the processor for every block anew how it does AES, and copying messages into a buffer;
//! here a whole message is one such question and no copy.

use aes::{
    Aes128, Aes128Enc,
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
    subkeys: Ready,
}

impl Cmac {
    pub(super) fn new(key: &Aes128Key) -> Self {
        let aes = Aes128::new(&Array::from(*key.expose()));
        let (_, k1, k2) = subkeys(&aes);
        Self { aes, subkeys: Ready { k1, k2 } }
    }

    /// Returns the CMAC of the parts, one after another.
    pub(super) fn tag(&self, parts: &[&[u8]]) -> Block {
        let mut tag = [0; 16];
        self.aes.encrypt_with_backend(Chain { parts, subkeys: &self.subkeys, tag: &mut tag });
        tag
    }
}

/// A message made ready for many keys: whole blocks, the last one padded as RFC 4493, 2.4 has it.
#[derive(Clone, Debug, Eq, PartialEq)]
pub(super) struct Padded {
    octets: Vec<u8>,
    /// Whether the last block was whole by itself: which of the two subkeys goes on it.
    whole: bool,
}

impl Padded {
    pub(super) fn new(message: &[u8]) -> Self {
        let mut octets = Vec::with_capacity(message.len() / 16 * 16 + 16);
        octets.extend_from_slice(message);
        let whole = !message.is_empty() && message.len().is_multiple_of(16);
        if !whole {
            octets.push(0x80);
            octets.resize(octets.len().next_multiple_of(16), 0);
        }
        Self { octets, whole }
    }

    /// Returns how many AES blocks the CMAC takes under one key, that of its subkeys included.
    pub(super) fn aes_blocks(&self) -> usize {
        1 + self.octets.len() / 16
    }

    /// Returns the CMAC under a key that is used once: its subkeys come in the same run of blocks.
    #[inline]
    pub(super) fn tag_under(&self, key: [u8; 16]) -> Block {
        let mut tag = [0; 16];
        let (parts, subkeys) = (&[self.octets.as_slice()][..], &Fresh { whole: self.whole });
        Aes128Enc::new(&Array::from(key)).encrypt_with_backend(Chain {
            parts,
            subkeys,
            tag: &mut tag,
        });
        tag
    }
}

/// Doubles in GF(2^128), as RFC 4493, 2.3 does to make the subkeys.
const fn double(block: u128) -> u128 {
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

/// Where the subkeys of a key come from.
trait Subkeys {
    /// What is known before the first block.
    type Begun;

    fn begin<B: BlockCipherEncBackend<BlockSize = U16>>(&self, backend: &B) -> Self::Begun;

    /// Returns the subkey for a last block: K1 when it is whole, K2 once it was padded.
    fn end(&self, begun: Self::Begun, whole: bool) -> Block;
}

/// Subkeys that were computed with the key's schedule.
struct Ready {
    k1: Block,
    k2: Block,
}

impl Subkeys for Ready {
    type Begun = ();

    #[inline]
    fn begin<B: BlockCipherEncBackend<BlockSize = U16>>(&self, _: &B) {}

    #[inline]
    fn end(&self, (): (), whole: bool) -> Block {
        if whole { self.k1 } else { self.k2 }
    }
}

impl Drop for Ready {
    fn drop(&mut self) {
        self.k1.zeroize();
        self.k2.zeroize();
    }
}

/// Subkeys that are computed on the way, for a message that was padded before. L and the message's
/// first block do not wait for each other: the processor overlaps them.
struct Fresh {
    whole: bool,
}

impl Subkeys for Fresh {
    type Begun = u128;

    #[inline]
    fn begin<B: BlockCipherEncBackend<BlockSize = U16>>(&self, backend: &B) -> u128 {
        let mut l = Array::from([0; 16]);
        backend.encrypt_block_inplace(&mut l);
        u128::from_be_bytes(l.into())
    }

    #[inline]
    fn end(&self, l: u128, _: bool) -> Block {
        let k1 = double(l);
        if self.whole { k1 } else { double(k1) }.to_be_bytes()
    }
}

/// One message under one key (RFC 4493, 2.4).
struct Chain<'a, S> {
    parts: &'a [&'a [u8]],
    subkeys: &'a S,
    tag: &'a mut Block,
}

impl<S> BlockSizeUser for Chain<'_, S> {
    type BlockSize = U16;
}

impl<S: Subkeys> BlockCipherEncClosure for Chain<'_, S> {
    #[inline]
    fn call<B: BlockCipherEncBackend<BlockSize = U16>>(self, backend: &B) {
        let begun = self.subkeys.begin(backend);
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
                if filled == 0 {
                    // Blocks with something behind them cannot be the last.
                    while let Some((block, rest)) = part.split_first_chunk()
                        && !rest.is_empty()
                    {
                        state = Array::from(xor(state.into(), block));
                        backend.encrypt_block_inplace(&mut state);
                        part = rest;
                    }
                }
                if filled == 0
                    && let Ok(block) = part.try_into()
                {
                    state = Array::from(xor(state.into(), block));
                    filled = 16;
                    part = &[];
                } else {
                    let (head, rest) = part.split_at(part.len().min(16 - filled));
                    state.iter_mut().skip(filled).zip(head).for_each(|(s, octet)| *s ^= octet);
                    filled += head.len();
                    part = rest;
                }
            }
        }
        if let Some(octet) = state.get_mut(filled) {
            *octet ^= 0x80;
        }
        let subkey = self.subkeys.end(begun, filled == 16);
        state = Array::from(xor(state.into(), &subkey));
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
