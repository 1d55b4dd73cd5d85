//! The small operations that a recipe turns: octet order, MAC, the cut of a MIC.

use super::recipe::{Mac, MhdrIn, MicForm, Order};
use crate::{
    crypto::{Block, Signer, encrypt_block},
    key::Aes128Key,
};

impl Order {
    /// Returns octets given in the order of the wire in this order.
    pub(super) fn of<const N: usize>(self, mut wire: [u8; N]) -> [u8; N] {
        if self == Self::Printed {
            wire.reverse();
        }
        wire
    }
}

impl MhdrIn {
    /// Returns what stands where this MHDR belongs.
    pub(super) fn octets(self, sent: u8) -> Vec<u8> {
        match self {
            Self::AsSent => vec![sent],
            Self::LeftOut => Vec::new(),
            Self::Zero => vec![0],
        }
    }
}

impl MicForm {
    /// Returns the MAC of a message.
    pub(super) fn mac(self, key: &Aes128Key, message: &[u8]) -> Block {
        match self.mac {
            Mac::Cmac => Signer::new(key).cmac(&[message]),
            Mac::NoSubkey => cbc_mac(key, message, 0x80, |_| [0; 16]),
            Mac::OneSubkey => cbc_mac(key, message, 0x80, |_| doubled(encrypt_block(key, [0; 16]))),
            Mac::ZeroPadding => cbc_mac(key, message, 0, |whole| {
                let k1 = doubled(encrypt_block(key, [0; 16]));
                if whole { k1 } else { doubled(k1) }
            }),
        }
    }

    /// Returns the four octets of a MIC that is cut from one MAC.
    pub(super) fn whole(self, mac: Block) -> [u8; 4] {
        self.laid(self.cut(mac))
    }

    /// Returns the octets that a MAC gives to the half of a 1.1 uplink's MIC.
    pub(super) fn half(self, mac: Block) -> [u8; 2] {
        let [a, b, c, d] = self.cut(mac);
        if self.from_the_end { [c, d] } else { [a, b] }
    }

    fn cut(self, mac: Block) -> [u8; 4] {
        let ends = if self.from_the_end { mac.last_chunk() } else { mac.first_chunk() };
        ends.copied().unwrap_or_default()
    }

    /// Returns four octets as they are laid down.
    pub(super) fn laid<T>(self, mut octets: [T; 4]) -> [T; 4] {
        if self.reversed {
            octets.reverse();
        }
        octets
    }
}

/// CMAC as it comes out when its last step is done otherwise. `subkey` is told whether the last
/// block was whole.
fn cbc_mac(key: &Aes128Key, message: &[u8], pad: u8, subkey: impl Fn(bool) -> Block) -> Block {
    let (blocks, rest) = message.as_chunks::<16>();
    let mut last = [0; 16];
    let before = if let ([], [before @ .., whole]) = (rest, blocks) {
        last = xor(*whole, subkey(true));
        before
    } else {
        let padded = rest.iter().copied().chain([pad]);
        last.iter_mut().zip(padded).for_each(|(out, octet)| *out = octet);
        last = xor(last, subkey(false));
        blocks
    };
    let chained = before.iter().fold([0; 16], |x, block| encrypt_block(key, xor(x, *block)));
    encrypt_block(key, xor(chained, last))
}

/// Doubling in the field of RFC 4493, 2.3: K1 of the zero block's cipher, K2 of K1.
fn doubled(block: Block) -> Block {
    let value = u128::from_be_bytes(block);
    let carry = if value >> 127 == 1 { 0x87 } else { 0 };
    (value << 1 ^ carry).to_be_bytes()
}

/// Returns one block exclusive-or another.
pub(super) fn xor(mut a: Block, b: Block) -> Block {
    a.iter_mut().zip(b).for_each(|(a, b)| *a ^= b);
    a
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::crypto::mic::cmac;

    #[test]
    fn the_wrong_macs_are_the_right_one_but_for_their_last_step() {
        let key: Aes128Key = "2b7e151628aed2a6abf7158809cf4f3c".parse().unwrap();
        let k1 = |whole: bool| {
            let k1 = doubled(encrypt_block(&key, [0; 16]));
            if whole { k1 } else { doubled(k1) }
        };
        for len in [0, 1, 15, 16, 17, 32, 40] {
            let message: Vec<u8> = (0..len).collect();
            assert_eq!(cbc_mac(&key, &message, 0x80, k1), cmac(&key, &message), "{len}");
        }
        let form = MicForm { mac: Mac::OneSubkey, from_the_end: false, reversed: false };
        assert_eq!(form.mac(&key, &[7; 32]), cmac(&key, &[7; 32]));
        assert_ne!(form.mac(&key, &[7; 31]), cmac(&key, &[7; 31]));
    }

    #[test]
    fn a_mic_is_cut_from_either_end() {
        let mac: Block = std::array::from_fn(|i| u8::try_from(i).unwrap());
        let form = MicForm { mac: Mac::Cmac, from_the_end: true, reversed: true };
        assert_eq!(form.whole(mac), [15, 14, 13, 12]);
        assert_eq!(form.half(mac), [14, 15]);
    }
}
