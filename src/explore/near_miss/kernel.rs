//! One message, many keys: a block kernel for the MIC of a message under each of millions of keys.
//!
//! Everywhere else the `cmac` crate computes MICs. Here it would enter the cipher three times a key and
//! pad the message again each time; a search spends all its time in that. The kernel pads once, and a
//! key costs one key expansion and one entry with as many AES blocks as CMAC needs: one for the subkey
//! and one for each block of the message (three for a Join-Request).

use aes::{
    Aes128Enc,
    cipher::{
        Array, BlockCipherEncBackend, BlockCipherEncClosure, BlockCipherEncrypt, BlockSizeUser,
        KeyInit, consts::U16,
    },
};

use crate::{crypto::mic::double, frame::Mic};

type Block = [u8; 16];

/// A message made ready for its MIC under many keys: padded as RFC 4493, 2.4 has it.
#[derive(Clone, Debug, Eq, PartialEq)]
pub(super) struct Message {
    /// All blocks but the last.
    blocks: Vec<Block>,
    last: Block,
    /// Whether the last block was complete by itself: which of the two subkeys goes on it.
    complete: bool,
}

impl Message {
    /// Returns the bytes made ready.
    pub(super) fn new(octets: &[u8]) -> Self {
        let (blocks, rest) = octets.as_chunks();
        if let (Some((last, blocks)), []) = (blocks.split_last(), rest) {
            return Self { blocks: blocks.to_vec(), last: *last, complete: true };
        }
        let mut last = [0; 16];
        let padded = rest.iter().copied().chain([0x80]);
        last.iter_mut().zip(padded).for_each(|(to, octet)| *to = octet);
        Self { blocks: blocks.to_vec(), last, complete: false }
    }

    /// Returns the MIC under a key. It is but a guess, and not worth a wiped copy of its own.
    #[inline]
    pub(super) fn mic_under(&self, key: [u8; 16]) -> Mic {
        let mut tag = [0; 16];
        Aes128Enc::new(&Array::from(key))
            .encrypt_with_backend(Chain { message: self, tag: &mut tag });
        let [a, b, c, d, ..] = tag;
        Mic([a, b, c, d])
    }
}

/// A message under one key (RFC 4493, 2.4).
///
/// L and the first block do not wait for each other: the processor overlaps them.
struct Chain<'a> {
    message: &'a Message,
    tag: &'a mut Block,
}

impl BlockSizeUser for Chain<'_> {
    type BlockSize = U16;
}

impl BlockCipherEncClosure for Chain<'_> {
    #[inline]
    fn call<B: BlockCipherEncBackend<BlockSize = U16>>(self, backend: &B) {
        let Message { blocks, last, complete } = self.message;
        let mut l = Array::from([0; 16]);
        backend.encrypt_block_inplace(&mut l);
        let mut state = Array::from([0; 16]);
        for block in blocks {
            state = Array::from(xor(state.into(), block));
            backend.encrypt_block_inplace(&mut state);
        }
        let k1 = double(u128::from_be_bytes(l.into()));
        let subkey = if *complete { k1 } else { double(k1) };
        state = Array::from(xor(xor(state.into(), last), &subkey.to_be_bytes()));
        backend.encrypt_block_inplace(&mut state);
        *self.tag = state.into();
    }
}

fn xor(left: Block, right: &Block) -> Block {
    (u128::from_ne_bytes(left) ^ u128::from_ne_bytes(*right)).to_ne_bytes()
}

#[cfg(test)]
mod tests {
    use aes::Aes128;
    use cmac::{Cmac, KeyInit as _, Mac};
    use proptest::{collection::vec, prelude::*};

    use super::*;

    proptest! {
        #[test]
        fn the_kernel_and_the_crate_agree_on_every_message(
            key in any::<[u8; 16]>(),
            octets in vec(any::<u8>(), 0..80),
        ) {
            let mut mac = Cmac::<Aes128>::new(&key.into());
            mac.update(&octets);
            let ours = Message::new(&octets).mic_under(key);
            prop_assert_eq!(&ours.0[..], &mac.finalize().into_bytes()[..4]);
        }
    }

    #[test]
    fn the_examples_of_rfc_4493_hold() {
        let key = [
            0x2b, 0x7e, 0x15, 0x16, 0x28, 0xae, 0xd2, 0xa6, 0xab, 0xf7, 0x15, 0x88, 0x09, 0xcf,
            0x4f, 0x3c,
        ];
        let octets = [
            0x6b, 0xc1, 0xbe, 0xe2, 0x2e, 0x40, 0x9f, 0x96, 0xe9, 0x3d, 0x7e, 0x11, 0x73, 0x93,
            0x17, 0x2a, 0xae, 0x2d, 0x8a, 0x57, 0x1e, 0x03, 0xac, 0x9c, 0x9e, 0xb7, 0x6f, 0xac,
            0x45, 0xaf, 0x8e, 0x51, 0x30, 0xc8, 0x1c, 0x46, 0xa3, 0x5c, 0xe4, 0x11,
        ];
        let mic = |octets: &[u8]| Message::new(octets).mic_under(key);
        assert_eq!(mic(&[]), Mic([0xbb, 0x1d, 0x69, 0x29]));
        assert_eq!(mic(&octets[..16]), Mic([0x07, 0x0a, 0x16, 0xb4]));
        assert_eq!(mic(&octets), Mic([0xdf, 0xa6, 0x67, 0x47]));
    }
}
