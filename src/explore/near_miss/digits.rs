//! A value as people handle it: a row of hex digits, counted from 1 at the left.

use zeroize::Zeroize;

/// 32 digits of a key or 16 of an EUI, as printed.
#[derive(Clone, Copy, Zeroize)]
pub(super) struct Digits {
    /// The digits as a number; the last digit is the lowest.
    pub(super) value: u128,
    /// How many there are: 32 or 16.
    pub(super) len: u8,
}

/// One digit that differs.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub struct Digit {
    /// Which, counted from 1 at the left.
    pub at: u8,
    /// What the claim has there, 0 to 15.
    pub claimed: u8,
    /// What the evidence agrees with, 0 to 15.
    pub used: u8,
}

/// Which end of a value.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub enum End {
    /// The left one.
    First,
    /// The right one.
    Last,
}

/// What a value is made of, as far as a mistake is concerned.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub enum Unit {
    /// Hex digits: a hand on a keyboard.
    Digit,
    /// Octets: a list of them in source code.
    Octet,
}

impl End {
    /// Returns the word.
    pub const fn text(self) -> &'static str {
        match self {
            Self::First => "first",
            Self::Last => "last",
        }
    }
}

impl Unit {
    /// Returns the word.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Digit => "digit",
            Self::Octet => "byte",
        }
    }

    /// Returns how many bits it has.
    pub(super) const fn bits(self) -> u8 {
        match self {
            Self::Digit => 4,
            Self::Octet => 8,
        }
    }
}

impl Digits {
    pub(super) const fn of_key(octets: [u8; 16]) -> Self {
        Self { value: u128::from_be_bytes(octets), len: 32 }
    }

    pub(super) fn of_eui(octets: [u8; 8]) -> Self {
        Self { value: u64::from_be_bytes(octets).into(), len: 16 }
    }

    /// How many units of that kind there are.
    pub(super) const fn count(self, unit: Unit) -> u8 {
        self.len * 4 / unit.bits()
    }

    /// The unit at a position, from 1 at the left.
    #[expect(clippy::cast_possible_truncation, reason = "the unit is masked to at most a byte")]
    pub(super) fn unit(self, unit: Unit, at: u8) -> u8 {
        ((self.value >> self.shift(unit, at)) & mask(unit.bits().into())) as u8
    }

    /// The value with one unit exclusive-ored.
    pub(super) fn flipped(self, unit: Unit, at: u8, flip: u8) -> u128 {
        self.value ^ (u128::from(flip) << self.shift(unit, at))
    }

    /// The digit at a position, and what it becomes when it is flipped.
    pub(super) fn changed(self, at: u8, flip: u8) -> Digit {
        let claimed = self.unit(Unit::Digit, at);
        Digit { at, claimed, used: claimed ^ flip }
    }

    /// The value with two units exchanged.
    pub(super) fn exchanged(self, unit: Unit, first: u8, second: u8) -> u128 {
        let flip = self.unit(unit, first) ^ self.unit(unit, second);
        Self { value: self.flipped(unit, first, flip), ..self }.flipped(unit, second, flip)
    }

    /// The value without one unit: one shorter, the rest moved up.
    pub(super) fn without(self, unit: Unit, at: u8) -> u128 {
        let below = self.shift(unit, at);
        // the unit itself goes with the right shift; of the first one nothing is left
        let above = self.value.checked_shr(below + u32::from(unit.bits())).unwrap_or(0);
        (above << below) | (self.value & mask(below))
    }

    /// A value that is one unit short, with a unit put in so that it stands at `at` of the result.
    pub(super) fn with(self, short: u128, unit: Unit, at: u8, put_in: u8) -> u128 {
        let below = self.shift(unit, at);
        let above = (short >> below) << below;
        (above << unit.bits()) | (u128::from(put_in) << below) | (short & mask(below))
    }

    /// The octets, most significant first.
    pub(super) fn octets(self) -> Vec<u8> {
        let all = self.value.to_be_bytes();
        all.iter().copied().skip(16 - usize::from(self.len / 2)).collect()
    }

    /// The value that these octets are.
    pub(super) fn number(octets: &[u8]) -> u128 {
        octets.iter().fold(0, |value, octet| (value << 8) | u128::from(*octet))
    }

    /// The octets in reverse order, of any value as long as this one.
    pub(super) const fn reversed(self, value: u128) -> u128 {
        value.swap_bytes() >> (128 - 4 * self.len as u32)
    }

    fn shift(self, unit: Unit, at: u8) -> u32 {
        u32::from(self.count(unit).saturating_sub(at)) * u32::from(unit.bits())
    }
}

/// That many low bits.
const fn mask(bits: u32) -> u128 {
    match 1u128.checked_shl(bits) {
        Some(bit) => bit - 1,
        None => u128::MAX,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const KEY: Digits = Digits { value: 0x0123_4567_89AB_CDEF_FEDC_BA98_7654_3210, len: 32 };
    const EUI: Digits = Digits { value: 0x0200_00FF_FE1A_2B3C, len: 16 };

    #[test]
    fn digits_count_from_the_left() {
        assert_eq!(KEY.unit(Unit::Digit, 1), 0);
        assert_eq!(KEY.unit(Unit::Digit, 14), 0xD);
        assert_eq!(EUI.unit(Unit::Digit, 2), 2);
        assert_eq!(EUI.unit(Unit::Octet, 8), 0x3C);
    }

    #[test]
    fn a_unit_comes_out_and_goes_in_at_every_position() {
        for value in [KEY, EUI] {
            for unit in [Unit::Digit, Unit::Octet] {
                for at in 1..=value.count(unit) {
                    let short = value.without(unit, at);
                    assert_eq!(value.with(short, unit, at, value.unit(unit, at)), value.value);
                }
            }
        }
        assert_eq!(EUI.without(Unit::Digit, 2), 0x0000_00FF_FE1A_2B3C);
        assert_eq!(EUI.without(Unit::Digit, 1), 0x0200_00FF_FE1A_2B3C);
    }

    #[test]
    fn octets_reverse_and_come_back() {
        assert_eq!(EUI.reversed(EUI.value), 0x3C2B_1AFE_FF00_0002);
        assert_eq!(Digits::number(&EUI.octets()), EUI.value);
        assert_eq!(Digits::number(&KEY.octets()), KEY.value);
    }
}
