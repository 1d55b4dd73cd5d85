//! When a packet was captured, from whatever units the file counts in.

use jiff::Timestamp;

/// The unit of an interface's clock: `if_tsresol`, one octet.
///
/// The top bit clear: 10 to the minus that; set: 2 to the minus what the other bits say.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(super) struct Resolution(pub(super) u8);

impl Resolution {
    /// What an interface that says none has: microseconds.
    pub(super) const DEFAULT: Self = Self(6);

    /// Units of a second; `None` for more than 128 bits hold.
    fn units(self) -> Option<u128> {
        let exponent = u32::from(self.0 & 0x7F);
        if self.0 & 0x80 == 0 { 10u128.checked_pow(exponent) } else { 1u128.checked_shl(exponent) }
    }

    /// Returns the time of a count of units since 1970, moved by `offset` seconds.
    pub(super) fn time(self, count: u64, offset: i64) -> Option<Timestamp> {
        let (units, count) = (self.units()?, u128::from(count));
        // The rest is less than 2^64, so that the product fits.
        let nanoseconds = (count % units) * NANOSECONDS / units;
        let seconds = i64::try_from(count / units).ok()?.checked_add(offset)?;
        Timestamp::new(seconds, i32::try_from(nanoseconds).ok()?).ok()
    }
}

/// Returns the time of seconds since 1970 and a fraction, which may be more than a second.
pub(super) fn of_parts(seconds: u32, fraction: u32, units: u64) -> Option<Timestamp> {
    let count = u64::from(seconds) * units + u64::from(fraction);
    let nanoseconds = count % units * (1_000_000_000 / units);
    Timestamp::new(i64::try_from(count / units).ok()?, i32::try_from(nanoseconds).ok()?).ok()
}

const NANOSECONDS: u128 = 1_000_000_000;

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> Option<Timestamp> {
        text.parse().ok()
    }

    #[test]
    fn every_unit_tells_the_same_time() {
        let wanted = at("2026-04-18T06:10:03.5Z");
        let second = 1_776_492_603;
        for (resolution, units) in [
            (0x00, 1),
            (0x03, 1_000),
            (0x06, 1_000_000),
            (0x09, 1_000_000_000),
            (0x80, 1),
            (0x81, 2),
            (0x94, 1 << 20),
        ] {
            let half = if units == 1 { 0 } else { units / 2 };
            let wanted = if units == 1 { at("2026-04-18T06:10:03Z") } else { wanted };
            let got = Resolution(resolution).time(second * units + half, 0);
            assert_eq!(got, wanted, "{resolution:02x}");
        }
        assert_eq!(Resolution(6).time(500_000, 1_776_492_603), wanted);
        assert_eq!(Resolution(6).time(1_776_492_604_500_000, -1), wanted);
    }

    #[test]
    fn units_beyond_reason_give_a_time_or_none_and_no_panic() {
        for resolution in 0..=255 {
            for count in [0, 1, u64::MAX] {
                for offset in [0, i64::MIN, i64::MAX] {
                    let _ = Resolution(resolution).time(count, offset);
                }
            }
        }
        assert_eq!(Resolution(0).time(u64::MAX, 0), None);
        // 2^-64 s: the whole count is less than a second
        assert_eq!(Resolution(0xC0).time(1 << 63, 10), at("1970-01-01T00:00:10.5Z"));
    }

    #[test]
    fn a_fraction_of_more_than_a_second_is_carried_over() {
        assert_eq!(of_parts(10, 1_500_000, 1_000_000), at("1970-01-01T00:00:11.5Z"));
        assert_eq!(of_parts(10, 999_999_999, 1_000_000_000), at("1970-01-01T00:00:10.999999999Z"));
        assert!(of_parts(u32::MAX, u32::MAX, 1_000_000).is_some());
    }
}
