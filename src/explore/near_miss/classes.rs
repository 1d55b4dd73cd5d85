//! The kinds of mistake in the order of their nearness: which candidates belong to each, and how
//! its work is cut into pieces.

use super::{
    KnownKind,
    digits::{Digits, Unit},
    look_alike,
    mistake::Mistake,
    order,
    sink::{Except, Sink},
    slip, text_form,
};

macro_rules! classes {
    ($($(#[$doc:meta])* $name:ident $print:literal;)*) => {
        /// Mistakes of one kind: they are tried together, and found together.
        ///
        /// Ordered as they are searched, the nearest first.
        #[derive(Clone, Copy, Debug, Eq, Hash, Ord, PartialEq, PartialOrd)]
        pub enum MistakeClass {$($(#[$doc])* $name,)*}

        impl MistakeClass {
            /// Every class, the nearest first.
            pub const ALL: &'static [Self] = &[$(Self::$name),*];

            /// Returns its stable name.
            pub const fn name(self) -> &'static str {
                match self {$(Self::$name => $print,)*}
            }
        }
    };
}

classes! {
    /// No mistake in the value: another known value as it stands.
    Same "known-value";
    /// Octets in reverse order.
    OctetsReversed "bytes-reversed";
    /// The whole in another order.
    Reordered "reordered";
    /// A key's text for the key.
    TextAsOctets "text-as-bytes";
    /// A key made of an EUI.
    FromEui "made-of-an-eui";
    /// A published value.
    Sample "sample-key";
    /// One digit wrong; of an EUI also what its maker may have changed.
    OneDigit "one-digit";
    /// Neighbouring digits exchanged.
    NeighboursExchanged "neighbours-exchanged";
    /// One digit wrong and the octets reversed.
    OneDigitReversed "one-digit-and-bytes-reversed";
    /// Two digits or octets exchanged.
    Exchanged "swapped";
    /// One digit read as another throughout.
    Substituted "substituted";
    /// One digit dropped, doubled or put in.
    DigitsShifted "digits-shifted";
    /// One octet wrong.
    OneOctet "one-octet";
    /// One octet dropped, doubled or put in.
    OctetsShifted "octets-shifted";
    /// Several digits that look alike.
    LookAlikes "look-alikes";
    /// Two digits wrong.
    TwoDigits "two-digits";
    /// Three digits wrong.
    ThreeDigits "three-digits";
}

/// A piece of a kind of mistake: the positions of the wrong digits that it is about; zeros where
/// the kind is one piece.
pub(super) type Piece = [u8; 3];

impl MistakeClass {
    /// Whether a kind of mistake is looked for around a key of that kind.
    pub(super) fn applies_to(self, kind: KnownKind) -> bool {
        match kind {
            KnownKind::Claimed => true,
            KnownKind::OtherRole | KnownKind::Session => self < Self::ThreeDigits,
            KnownKind::OtherNode => self <= Self::OctetsReversed,
        }
    }

    /// Whether a kind of mistake is made without any key.
    pub(super) const fn needs_no_key(self) -> bool {
        matches!(self, Self::FromEui | Self::Sample)
    }

    /// How many digits are wrong at least.
    pub(super) const fn wrong_digits(self) -> u8 {
        match self {
            Self::LookAlikes | Self::TwoDigits => 2,
            Self::ThreeDigits => 3,
            _ => 0,
        }
    }

    /// The pieces around a value of `len` digits. None is so large that a stop would wait for it.
    pub(super) fn pieces(self, len: u8) -> Vec<Piece> {
        match self {
            Self::LookAlikes | Self::TwoDigits => (1..=len).map(|first| [first, 0, 0]).collect(),
            Self::ThreeDigits => (1..=len)
                .flat_map(|i| (i + 1..=len).map(move |j| (i, j)))
                .flat_map(|(i, j)| (j + 1..=len).map(move |k| [i, j, k]))
                .collect(),
            _ => vec![[0; 3]],
        }
    }

    /// Offers a piece of the candidates around a value. Those that need no key are not from here.
    pub(super) fn offer(self, claimed: Digits, piece: Piece, sink: &mut impl Sink) {
        if self == Self::Same {
            sink.offer(claimed.value, || Mistake::Same);
            return;
        }
        // Exchanging equal digits changes nothing, a palindrome reversed is itself.
        let sink = &mut Except { value: claimed.value, sink };
        match self {
            Self::Same | Self::FromEui | Self::Sample => {}
            Self::OctetsReversed => {
                sink.offer(claimed.reversed(claimed.value), || Mistake::OctetsReversed);
            }
            Self::Reordered => order::offer(claimed, sink),
            Self::TextAsOctets => text_form::offer(claimed, sink),
            Self::OneDigit => slip::one_digit(claimed, sink),
            Self::NeighboursExchanged => slip::neighbours(claimed, sink),
            Self::OneDigitReversed => slip::one_digit_reversed(claimed, sink),
            Self::Exchanged => slip::exchanged(claimed, sink),
            Self::Substituted => slip::substituted(claimed, sink),
            Self::DigitsShifted => slip::shifted(claimed, Unit::Digit, sink),
            Self::OneOctet => slip::one_octet(claimed, sink),
            Self::OctetsShifted => slip::shifted(claimed, Unit::Octet, sink),
            Self::LookAlikes => look_alike::offer(claimed, piece[0], sink),
            Self::TwoDigits => slip::two_digits(claimed, piece[0], sink),
            Self::ThreeDigits => slip::three_digits(claimed, piece, sink),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{super::sink::Counter, *};

    #[test]
    fn the_candidates_are_as_many_as_the_documentation_says() {
        let key = Digits::of_key([
            0xD2, 0x30, 0x6C, 0x9B, 0x9A, 0x5F, 0x88, 0x01, 0x62, 0x08, 0x10, 0x3F, 0x7E, 0x8A,
            0x07, 0xA6,
        ]);
        let count = |class: MistakeClass| {
            let mut counter = Counter::default();
            for piece in class.pieces(key.len) {
                class.offer(key, piece, &mut counter);
            }
            counter.0
        };
        for (class, wanted) in [
            (MistakeClass::Same, 1..=1),
            (MistakeClass::OctetsReversed, 1..=1),
            (MistakeClass::Reordered, 43..=43),
            (MistakeClass::TextAsOctets, 14..=14),
            (MistakeClass::OneDigit, 480..=480),
            (MistakeClass::NeighboursExchanged, 25..=31),
            (MistakeClass::OneDigitReversed, 480..=480),
            (MistakeClass::Exchanged, 500..=585),
            (MistakeClass::Substituted, 1..=240),
            (MistakeClass::DigitsShifted, 1900..=2200),
            (MistakeClass::OneOctet, 3600..=3600),
            (MistakeClass::OctetsShifted, 16_000..=16_600),
            (MistakeClass::LookAlikes, 10_000..=60_000),
            (MistakeClass::TwoDigits, 111_600..=111_600),
            (MistakeClass::ThreeDigits, 16_740_000..=16_740_000),
        ] {
            let count = count(class);
            assert!(wanted.contains(&count), "{}: {count}", class.name());
        }
    }
}
