//! Time stamps: the one form that nearly every capture has, read by hand; all others by jiff.

use jiff::Timestamp;

/// Reads a time stamp (RFC 3339), or what gateways print in reports: `2026-03-02 08:00:03 GMT`.
pub(super) fn timestamp(text: &str) -> Option<Timestamp> {
    if let Some(time) = utc(text.as_bytes()) {
        return Some(time);
    }
    text.parse().ok().or_else(|| {
        let civil = text.strip_suffix(" GMT").or_else(|| text.strip_suffix(" UTC"))?;
        format!("{civil}Z").parse().ok()
    })
}

/// Reads exactly `YYYY-MM-DDThh:mm:ssZ`, with up to nine decimals of a second, from 1970 on.
///
/// A leap second is left to jiff.
fn utc(text: &[u8]) -> Option<Timestamp> {
    let (clock, rest) = text.split_first_chunk::<19>()?;
    let [y0, y1, y2, y3, b'-', mo0, mo1, b'-', d0, d1, b'T', h0, h1, b':', mi0, mi1, b':', s0, s1] =
        *clock
    else {
        return None;
    };
    let fraction = rest.strip_suffix(b"Z")?;
    let year = two(y0, y1)? * 100 + two(y2, y3)?;
    let (month, day) = (two(mo0, mo1)?, two(d0, d1)?);
    let (hour, minute, second) = (two(h0, h1)?, two(mi0, mi1)?, two(s0, s1)?);
    if year < 1970 || day == 0 || day > days_of(year, month)? {
        return None;
    }
    if hour > 23 || minute > 59 || second > 59 {
        return None;
    }
    let of_day = hour * 3600 + minute * 60 + second;
    let second = days_before(year, month)? + day - 1;
    Timestamp::new(second * 86_400 + of_day, nanoseconds(fraction)?).ok()
}

fn two(tens: u8, ones: u8) -> Option<i64> {
    let digit = |c: u8| c.is_ascii_digit().then(|| i64::from(c - b'0'));
    Some(digit(tens)? * 10 + digit(ones)?)
}

fn nanoseconds(fraction: &[u8]) -> Option<i32> {
    if fraction.is_empty() {
        return Some(0);
    }
    let digits = fraction.strip_prefix(b".").filter(|d| matches!(d.len(), 1..=9))?;
    let mut value = 0;
    for place in 0..9 {
        let digit = digits.get(place).copied().unwrap_or(b'0');
        if !digit.is_ascii_digit() {
            return None;
        }
        value = value * 10 + i32::from(digit - b'0');
    }
    Some(value)
}

const fn is_leap(year: i64) -> bool {
    year % 4 == 0 && (year % 100 != 0 || year % 400 == 0)
}

fn place(month: i64) -> Option<usize> {
    usize::try_from(month).ok()?.checked_sub(1)
}

fn days_of(year: i64, month: i64) -> Option<i64> {
    let days = *DAYS.get(place(month)?)?;
    Some(days + i64::from(month == 2 && is_leap(year)))
}

/// Days from the beginning of 1970 to the beginning of the month.
fn days_before(year: i64, month: i64) -> Option<i64> {
    let before = year - 1;
    let leaps = before / 4 - before / 100 + before / 400 - LEAPS_BEFORE_1970;
    let in_year = *DAYS_BEFORE.get(place(month)?)? + i64::from(month > 2 && is_leap(year));
    Some((year - 1970) * 365 + leaps + in_year)
}

const LEAPS_BEFORE_1970: i64 = 1969 / 4 - 1969 / 100 + 1969 / 400;
const DAYS: [i64; 12] = [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31];
const DAYS_BEFORE: [i64; 12] = [0, 31, 59, 90, 120, 151, 181, 212, 243, 273, 304, 334];

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    proptest! {
        #[test]
        fn every_time_is_what_jiff_makes_of_it(
            second in 0i64..253_402_207_200,
            nanosecond in 0i32..1_000_000_000,
            digits in 0usize..=9,
        ) {
            let time = Timestamp::new(second, nanosecond).unwrap();
            let whole = format!("{time:.9}");
            let cut = whole.len() - 1 - 9 + digits - usize::from(digits == 0);
            let text = format!("{}Z", &whole[..cut]);
            prop_assert_eq!(utc(text.as_bytes()), Some(text.parse().unwrap()), "{}", text);
        }

        #[test]
        fn whatever_is_read_by_hand_jiff_reads_alike(text in "[0-9]{4}-[0-1][0-9]-[0-3][0-9]T[0-2][0-9]:[0-6][0-9]:[0-6][0-9](\\.[0-9]{0,10})?Z") {
            if let Some(time) = utc(text.as_bytes()) {
                prop_assert_eq!(Some(time), text.parse().ok(), "{}", text);
            }
            prop_assert_eq!(timestamp(&text), text.parse().ok());
        }
    }

    #[test]
    fn other_forms_are_read_too() {
        let wanted = Some("2026-03-02T08:00:03Z".parse().unwrap());
        for text in [
            "2026-03-02T08:00:03Z",
            "2026-03-02T08:00:03.000Z",
            "2026-03-02t08:00:03z",
            "2026-03-02T09:00:03+01:00",
            "2026-03-02 08:00:03 GMT",
            "2026-03-02 08:00:03 UTC",
        ] {
            assert_eq!(timestamp(text), wanted, "{text}");
        }
        for text in ["", "2026-02-30T08:00:03Z", "2026-03-02T08:00:03", "yesterday"] {
            assert_eq!(timestamp(text), None, "{text}");
        }
    }
}
