//! The time at the head of a line of a log, and times that are counted from 1970.

use jiff::Timestamp;

use super::time::timestamp;

/// A time as a log writes it.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(super) enum Stamp {
    /// With its zone.
    Utc(Timestamp),
    /// Without a zone, taken as UTC: what passed between two of them is right.
    Local(Timestamp),
    /// Without a year or a day: only the order of the lines is known.
    Clock,
}

/// Returns the first time in the head of a line.
///
/// | form | |
/// |------|-|
/// | `2026-03-02T08:00:03.210Z`, `... +01:00`, `... UTC` | with its zone |
/// | `1772438403.210`, `1772438403210` first in the line | seconds or milliseconds of UTC |
/// | `2026-03-02 08:00:03,210`, `2026/03/02 08:00:03` | without a zone |
/// | `Mar  2 08:00:03`, `08:00:03.210` | the order alone |
pub(super) fn stamp(line: &str) -> Option<Stamp> {
    let mut end = line.len().min(HEAD);
    while !line.is_char_boundary(end) {
        end -= 1;
    }
    let head = line.get(..end)?;
    if let Some(time) = epoch(head) {
        return Some(Stamp::Utc(time));
    }
    let octets = head.as_bytes();
    let begins = |at: &usize| {
        let before = at.checked_sub(1).and_then(|before| octets.get(before));
        octets.get(*at).is_some_and(u8::is_ascii_digit)
            && before.is_none_or(|c| !c.is_ascii_alphanumeric() && !matches!(c, b'.' | b':'))
    };
    let places: Vec<usize> = (0..octets.len()).filter(begins).collect();
    places
        .iter()
        .find_map(|at| dated(head.get(*at..)?))
        .or_else(|| places.iter().find_map(|at| clock(head.get(*at..)?)).map(|_| Stamp::Clock))
}

/// `1772438403.210` or `1772438403210`, at the beginning.
fn epoch(head: &str) -> Option<Timestamp> {
    let head = head.trim_start_matches(['[', '(', ' ', '\t']);
    let end = head.find(|c: char| !c.is_ascii_digit() && c != '.').unwrap_or(head.len());
    let number = head.get(..end)?;
    match number.split_once('.') {
        Some((whole, part)) if whole.len() == 10 && (1..=9).contains(&part.len()) => {
            let nanos: i32 = format!("{part:0<9}").parse().ok()?;
            Timestamp::new(whole.parse().ok()?, nanos).ok()
        }
        None if number.len() == 13 => Timestamp::from_millisecond(number.parse().ok()?).ok(),
        _ => None,
    }
}

/// Reads a time that is all of a text, or a count from 1970 in digits.
pub(super) fn written(text: &str) -> Option<Stamp> {
    if !text.starts_with(|c: char| c.is_ascii_digit()) {
        return None;
    }
    if let Ok(count) = text.parse() {
        return since_1970(count).map(Stamp::Utc);
    }
    // Other counts than a clock's have a point, too: `1772438403.3`.
    if let Ok(seconds) = text.parse() {
        return seconds_since_1970(seconds).map(Stamp::Utc);
    }
    stamp(text)
}

/// Returns the time of a count from 1970 whose size tells its unit: seconds to nanoseconds.
pub(super) fn since_1970(count: u64) -> Option<Timestamp> {
    let signed = i64::try_from(count).ok()?;
    match count {
        1_000_000_000..=9_999_999_999 => Timestamp::from_second(signed).ok(),
        1_000_000_000_000..=9_999_999_999_999 => Timestamp::from_millisecond(signed).ok(),
        1_000_000_000_000_000..=9_999_999_999_999_999 => Timestamp::from_microsecond(signed).ok(),
        1_000_000_000_000_000_000.. => Timestamp::from_nanosecond(i128::from(count)).ok(),
        _ => None,
    }
}

/// Returns the time of seconds, or of milliseconds where there are as many, with a fraction.
pub(super) fn seconds_since_1970(count: f64) -> Option<Timestamp> {
    let seconds = if (1e12..1e13).contains(&count) { count / 1e3 } else { count };
    let seconds = Some(seconds).filter(|s| (1e9..1e10).contains(s))?;
    #[expect(clippy::cast_possible_truncation, reason = "bounded just above")]
    Timestamp::from_microsecond((seconds * 1e6).round() as i64).ok()
}

/// A date, a clock and perhaps a zone.
fn dated(text: &str) -> Option<Stamp> {
    let date = text.get(..10)?;
    let [_, _, _, _, a @ (b'-' | b'/'), _, _, b, _, _] = date.as_bytes() else { return None };
    let date = date.replace('/', "-");
    let digits = date.bytes().filter(u8::is_ascii_digit).count();
    if a != b || digits != 8 {
        return None;
    }
    let rest = text.get(10..)?;
    let rest = rest.strip_prefix(['T', 't', ' ', '_'])?.trim_start();
    let (clock, rest) = clock(rest)?;
    let zone = zone(rest);
    let time = timestamp(&format!("{date}T{clock}{}", zone.as_deref().unwrap_or("Z")))?;
    Some(if zone.is_some() { Stamp::Utc(time) } else { Stamp::Local(time) })
}

/// `08:00:03`, `08:00:03.210`, `08:00:03,210`; returns it with a point, and what follows.
fn clock(text: &str) -> Option<(String, &str)> {
    let clock = text.get(..8)?;
    let octets = clock.as_bytes();
    let digits = octets.iter().filter(|c| c.is_ascii_digit()).count();
    let [_, _, b':', ten_minutes, _, b':', ten_seconds, _] = octets else { return None };
    if digits != 6 || *ten_minutes > b'5' || *ten_seconds > b'6' {
        return None;
    }
    let rest = text.get(8..)?;
    let mut out = clock.to_owned();
    let Some(part) = rest.strip_prefix(['.', ',']) else {
        return (!rest.starts_with([':', '-'])).then_some((out, rest));
    };
    let digits = part.find(|c: char| !c.is_ascii_digit()).unwrap_or(part.len());
    if digits == 0 {
        return Some((out, rest));
    }
    out.push('.');
    out.push_str(part.get(..digits.min(9))?);
    Some((out, part.get(digits..)?))
}

/// `Z`, `+01:00`, `+0100`, ` UTC`, ` GMT`.
fn zone(text: &str) -> Option<String> {
    let spaced = text.strip_prefix(' ').unwrap_or(text);
    let named = ["UTC", "GMT"].iter().any(|name| spaced.starts_with(name));
    if named || text.starts_with(['Z', 'z']) {
        return Some("Z".to_owned());
    }
    let sign = spaced.chars().next().filter(|c| matches!(c, '+' | '-'))?;
    let digits: String = spaced.get(1..)?.chars().filter(|c| *c != ':').take(4).collect();
    let all = digits.len() == 4 && digits.bytes().all(|c| c.is_ascii_digit());
    all.then(|| format!("{sign}{}:{}", &digits[..2], &digits[2..]))
}

/// Octets of a line in which its time is looked for.
const HEAD: usize = 160;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_time_with_its_zone_is_utc() {
        let wanted = Some(Stamp::Utc("2026-03-02T08:00:03.21Z".parse().unwrap()));
        for text in [
            "2026-03-02T08:00:03.21Z gateway-1 up {}",
            "2026-03-02T09:00:03.210+01:00 up",
            "2026-03-02 09:00:03.210 +0100 up",
            "2026-03-02 03:00:03,210 -0500 up",
            "[2026-03-02 08:00:03.210 UTC] up",
            "<14>1 2026-03-02T08:00:03.210000Z host name - -",
            "1772438403.210 up",
            "[1772438403.21] up",
            "1772438403210 up",
            "INFO 2026/03/02 08:00:03.210 GMT: up",
        ] {
            assert_eq!(stamp(text), wanted, "{text}");
        }
    }

    #[test]
    fn a_time_without_a_zone_tells_what_passed() {
        let wanted = Some(Stamp::Local("2026-03-02T08:00:03.21Z".parse().unwrap()));
        for text in [
            "2026-03-02 08:00:03.210 up",
            "2026-03-02T08:00:03,210 up",
            "2026/03/02 08:00:03.21 INFO up",
            "x=1 2026-03-02_08:00:03.21",
        ] {
            assert_eq!(stamp(text), wanted, "{text}");
        }
    }

    #[test]
    fn a_clock_without_a_date_tells_the_order_alone() {
        for text in ["Mar  2 08:00:03 host name[7]: up", "08:00:03.210 up", "[08:00:03] up"] {
            assert_eq!(stamp(text), Some(Stamp::Clock), "{text}");
        }
    }

    #[test]
    fn other_numbers_are_no_times() {
        for text in [
            "",
            "up",
            "AA:BB:CC:DD:EE:FF",
            "02:00:00:ff:fe:a0:94:42 up",
            "2026-03-02 up",
            "2026-13-41T08:00:03Z",
            "1772438403 up",
            "17724384032100 up",
            "é08",
        ] {
            assert_eq!(stamp(text), None, "{text}");
        }
    }
}
