//! One message, many keys: the MIC of a message under each of a great number of keys.
//!
//! [`Signer`](super::Signer) is the other way round: one key, many messages. Here the message is
//! cut into blocks once, and a key costs one key expansion and as many AES blocks as CMAC needs:
//! one for the subkey and one for each block of the message (three for a Join-Request).

use super::cmac::Padded;
use crate::{frame::Mic, key::Aes128Key};

/// A message made ready for its MIC under many keys.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct Message(Padded);

impl Message {
    /// Returns the octets made ready.
    pub fn new(octets: &[u8]) -> Self {
        Self(Padded::new(octets))
    }

    /// Returns how many AES blocks the MIC takes under one key.
    pub fn aes_blocks(&self) -> usize {
        self.0.aes_blocks()
    }

    /// Returns the MIC under that key.
    pub fn mic_under(&self, key: &Aes128Key) -> Mic {
        self.mic_under_octets(*key.expose())
    }

    /// The same for a key that is but a guess, and is not worth a wiped copy of its own.
    pub(crate) fn mic_under_octets(&self, key: [u8; 16]) -> Mic {
        let [a, b, c, d, ..] = self.0.tag_under(key);
        Mic([a, b, c, d])
    }
}

/// Returns the MIC of one message under one key.
pub fn mic_once(key: &Aes128Key, message: &[u8]) -> Mic {
    Message::new(message).mic_under(key)
}

#[cfg(test)]
mod tests {
    use aes::Aes128;
    use cmac::{KeyInit as _, Mac};
    use proptest::prelude::*;

    use super::*;

    proptest! {
        #[test]
        fn one_message_under_many_keys_gives_the_mic_of_the_crate(
            key in any::<[u8; 16]>(),
            octets in prop::collection::vec(any::<u8>(), 0..80),
        ) {
            let mut other = cmac::Cmac::<Aes128>::new(&key.into());
            other.update(&octets);
            let ours = mic_once(&Aes128Key::new(key), &octets);
            prop_assert_eq!(&ours.0[..], &other.finalize().into_bytes()[..4]);
        }
    }

    #[test]
    fn the_examples_of_rfc_4493_hold() {
        let key: Aes128Key = "2b7e151628aed2a6abf7158809cf4f3c".parse().unwrap();
        let octets = [
            0x6b, 0xc1, 0xbe, 0xe2, 0x2e, 0x40, 0x9f, 0x96, 0xe9, 0x3d, 0x7e, 0x11, 0x73, 0x93,
            0x17, 0x2a, 0xae, 0x2d, 0x8a, 0x57, 0x1e, 0x03, 0xac, 0x9c, 0x9e, 0xb7, 0x6f, 0xac,
            0x45, 0xaf, 0x8e, 0x51, 0x30, 0xc8, 0x1c, 0x46, 0xa3, 0x5c, 0xe4, 0x11,
        ];
        assert_eq!(mic_once(&key, &[]), Mic([0xbb, 0x1d, 0x69, 0x29]));
        assert_eq!(mic_once(&key, &octets[..16]), Mic([0x07, 0x0a, 0x16, 0xb4]));
        assert_eq!(mic_once(&key, &octets), Mic([0xdf, 0xa6, 0x67, 0x47]));
    }

    #[test]
    fn a_join_request_takes_three_blocks() {
        assert_eq!(Message::new(&[0; 19]).aes_blocks(), 3);
        assert_eq!(Message::new(&[0; 16]).aes_blocks(), 2);
        assert_eq!(Message::new(&[]).aes_blocks(), 2);
    }
}
