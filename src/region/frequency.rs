//! Frequencies as people write them.

use std::fmt;

/// A frequency that prints in megahertz, with as many digits as it needs: `868.1`, `865.0625`.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct Megahertz(pub u32);

impl Megahertz {
    /// Returns the number, for JSON and drawings.
    pub fn get(self) -> f64 {
        f64::from(self.0) / 1e6
    }
}

impl fmt::Display for Megahertz {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let digits = format!("{:06}", self.0 % 1_000_000);
        let digits = digits.trim_end_matches('0');
        let text =
            format!("{}.{}", self.0 / 1_000_000, if digits.is_empty() { "0" } else { digits });
        f.pad(&text)
    }
}

/// A text that is no frequency.
#[derive(Clone, Copy, Debug, Eq, PartialEq, thiserror::Error)]
#[error("no frequency such as 868100000 or 868.1 MHz")]
pub struct NoFrequency;

/// Returns the hertz of a text: `868100000`, `868.1`, `868.1 MHz`, `868100 kHz`, `868100000 Hz`.
///
/// A number without a unit is hertz when it is whole and above 9999, megahertz otherwise: no
/// plan has channels below 10 kHz, and nobody writes fractions of a hertz.
///
/// # Errors
/// When the text is no such number, is finer than a hertz or does not fit 32 bits.
pub fn parse_frequency(text: &str) -> Result<u32, NoFrequency> {
    let lower = text.trim().to_ascii_lowercase();
    let (number, unit) = if let Some(n) = lower.strip_suffix("mhz") {
        (n, Some(1_000_000))
    } else if let Some(n) = lower.strip_suffix("khz") {
        (n, Some(1_000))
    } else if let Some(n) = lower.strip_suffix("hz") {
        (n, Some(1))
    } else {
        (lower.as_str(), None)
    };
    let number = number.trim_end().replace('_', "");
    let (whole, fraction) = number.split_once('.').unwrap_or((&number, ""));
    let all_digits = |t: &str| t.bytes().all(|b| b.is_ascii_digit());
    if whole.is_empty() || !all_digits(whole) || !all_digits(fraction) {
        return Err(NoFrequency);
    }
    let whole: u64 = whole.parse().map_err(|_| NoFrequency)?;
    let unit = unit.unwrap_or(if number.contains('.') || whole < 10_000 { 1_000_000 } else { 1 });
    let mut hz = whole.checked_mul(unit).ok_or(NoFrequency)?;
    let mut place = unit;
    for digit in fraction.bytes().map(|b| u64::from(b - b'0')) {
        if !place.is_multiple_of(10) && digit != 0 {
            return Err(NoFrequency);
        }
        place /= 10;
        hz = hz.checked_add(digit * place).ok_or(NoFrequency)?;
    }
    u32::try_from(hz).map_err(|_| NoFrequency)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_frequency_is_read_in_any_unit() {
        for text in ["868100000", "868.1", "868.1 MHz", "868.1mhz", "868100 kHz", "868_100_000 Hz"]
        {
            assert_eq!(parse_frequency(text), Ok(868_100_000), "{text}");
        }
        assert_eq!(parse_frequency("868"), Ok(868_000_000));
        assert_eq!(parse_frequency("865.0625"), Ok(865_062_500));
        assert_eq!(parse_frequency("868.100000000"), Ok(868_100_000));
    }

    #[test]
    fn nonsense_is_no_frequency() {
        for text in
            ["", "MHz", "-868.1", "868,1", "868.1.2", "868.1000001", "5000 MHz", "1e9", ".5"]
        {
            assert_eq!(parse_frequency(text), Err(NoFrequency), "{text}");
        }
    }

    #[test]
    fn megahertz_have_no_idle_zeros() {
        assert_eq!(Megahertz(868_100_000).to_string(), "868.1");
        assert_eq!(Megahertz(433_175_000).to_string(), "433.175");
        assert_eq!(Megahertz(786_000_000).to_string(), "786.0");
    }
}
