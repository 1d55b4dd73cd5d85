//! A value turned about as a whole: words, octets, digits or bits in another order.

use super::{
    digits::{Digits, Unit},
    mistake::Mistake,
    sink::Sink,
};

macro_rules! orders {
    ($($(#[$doc:meta])* $name:ident $print:literal $text:literal $turn:expr;)*) => {
        /// How a value was turned about, other than octet by octet.
        #[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
        pub enum Order {$($(#[$doc])* $name,)*}

        impl Order {
            /// Every order, in the order in which they are tried.
            pub const ALL: &'static [Self] = &[$(Self::$name),*];

            /// Returns its stable name.
            pub const fn name(self) -> &'static str {
                match self {$(Self::$name => $print,)*}
            }

            /// Returns what was done, as the end of "... with".
            pub const fn text(self) -> &'static str {
                match self {$(Self::$name => $text,)*}
            }

            fn turn(self, octets: &mut [u8]) {
                let turn: fn(&mut [u8]) = match self {$(Self::$name => $turn,)*};
                turn(octets);
            }
        }
    };
}

orders! {
    /// 01234567 89ABCDEF to 89ABCDEF 01234567.
    Halves "halves-exchanged" "its two halves swapped" |o| o.rotate_left(o.len() / 2);
    /// The four 32-bit words last to first.
    Words32 "32-bit-words-reversed" "its 32-bit words in reverse order" |o| {
        o.reverse();
        within(4, o);
    };
    /// Each 32-bit word in little-endian order.
    OctetsIn32 "octets-of-32-bit-words-reversed" "the bytes of each 32-bit word reversed"
        |o| within(4, o);
    /// Each 64-bit word in little-endian order.
    OctetsIn64 "octets-of-64-bit-words-reversed" "the bytes of each 64-bit word reversed"
        |o| within(8, o);
    /// The 16-bit words last to first.
    Words16 "16-bit-words-reversed" "its 16-bit words in reverse order" |o| {
        o.reverse();
        within(2, o);
    };
    /// Each 16-bit word in little-endian order.
    OctetsIn16 "octets-of-16-bit-words-exchanged" "the two bytes of each 16-bit word swapped"
        |o| within(2, o);
    /// 2B to B2 in every octet.
    Nibbles "nibbles-exchanged" "the two digits of every byte swapped" nibbles;
    /// The text read from its end.
    Digits "digits-reversed" "its digits read from the end" |o| {
        o.reverse();
        nibbles(o);
    };
    /// Least significant bit first in every octet.
    BitsInOctets "bits-of-octets-reversed" "the bits of every byte reversed" bits;
    /// Least significant bit first throughout.
    Bits "bits-reversed" "all its bits reversed" |o| {
        o.reverse();
        bits(o);
    };
    /// Every bit inverted.
    Inverted "bits-inverted" "every bit inverted" |o| o.iter_mut().for_each(|x| *x = !*x);
    /// The AES state filled by rows where it wants columns.
    Transposed "state-transposed" "its bytes written by rows for columns of four" transpose;
}

fn within(octets: usize, all: &mut [u8]) {
    all.chunks_mut(octets).for_each(<[u8]>::reverse);
}

fn nibbles(all: &mut [u8]) {
    for octet in all {
        *octet = octet.rotate_left(4);
    }
}

fn bits(all: &mut [u8]) {
    for octet in all {
        *octet = octet.reverse_bits();
    }
}

fn transpose(all: &mut [u8]) {
    let rows = all.len() / 4;
    let from: Vec<u8> = all.to_vec();
    let columns = (0..rows).flat_map(|row| from.iter().skip(row).step_by(rows));
    all.iter_mut().zip(columns).for_each(|(out, octet)| *out = *octet);
}

/// Offers every other order of a value.
pub(super) fn offer(claimed: Digits, sink: &mut impl Sink) {
    for &order in Order::ALL {
        let mut octets = claimed.octets();
        order.turn(&mut octets);
        sink.offer(Digits::number(&octets), || Mistake::Reordered(order));
    }
    for by in 1..claimed.count(Unit::Digit) {
        sink.offer(rotated(claimed, by), || Mistake::Rotated { digits: by });
    }
}

fn rotated(claimed: Digits, by: u8) -> u128 {
    let (up, down) = (4 * u32::from(by), 4 * u32::from(claimed.len - by));
    let low = claimed.value & ((1u128 << down) - 1);
    (claimed.value >> down) | (low << up)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn turned(order: Order) -> String {
        let mut octets: Vec<u8> = (0..16).collect();
        order.turn(&mut octets);
        hex::encode(octets)
    }

    #[test]
    fn every_order_is_what_it_says() {
        for (order, wanted) in [
            (Order::Halves, "08090a0b0c0d0e0f0001020304050607"),
            (Order::Words32, "0c0d0e0f08090a0b0405060700010203"),
            (Order::OctetsIn32, "03020100070605040b0a09080f0e0d0c"),
            (Order::OctetsIn64, "07060504030201000f0e0d0c0b0a0908"),
            (Order::Words16, "0e0f0c0d0a0b08090607040502030001"),
            (Order::OctetsIn16, "010003020504070609080b0a0d0c0f0e"),
            (Order::Nibbles, "00102030405060708090a0b0c0d0e0f0"),
            (Order::Digits, "f0e0d0c0b0a090807060504030201000"),
            (Order::BitsInOctets, "008040c020a060e0109050d030b070f0"),
            (Order::Bits, "f070b030d0509010e060a020c0408000"),
            (Order::Inverted, "fffefdfcfbfaf9f8f7f6f5f4f3f2f1f0"),
            (Order::Transposed, "0004080c0105090d02060a0e03070b0f"),
        ] {
            assert_eq!(turned(order), wanted, "{}", order.name());
        }
        assert_eq!(Order::ALL.len(), 12);
    }

    #[test]
    fn a_rotation_brings_the_first_digits_to_the_end() {
        let eui = Digits::of_eui([0x01, 0x23, 0x45, 0x67, 0x89, 0xAB, 0xCD, 0xEF]);
        assert_eq!(rotated(eui, 1), 0x1234_5678_9ABC_DEF0);
        assert_eq!(rotated(eui, 15), 0xF012_3456_789A_BCDE);
    }
}
