//! Numbers with a unit, as a learner writes them: `868.1`, `868.1 MHz`, `868100000 Hz`.

use std::fmt;

/// What a number counts.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Unit {
    /// Megahertz.
    Megahertz,
    /// Milliseconds.
    Milliseconds,
    /// Decibels.
    Decibels,
}

/// A number with a unit, kept in millionths.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct Quantity {
    millionths: i64,
    unit: Unit,
    /// How far from it an answer may be.
    tolerance: i64,
}

impl Unit {
    /// Returns the unit as it is printed.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Megahertz => "MHz",
            Self::Milliseconds => "ms",
            Self::Decibels => "dB",
        }
    }

    /// How many millionths of the unit an answer in that unit counts.
    fn millionths_of(self, unit: &str) -> Option<i64> {
        Some(match (self, unit.to_ascii_lowercase().as_str()) {
            (_, "")
            | (Self::Megahertz, "mhz")
            | (Self::Milliseconds, "ms")
            | (Self::Decibels, "db") => MILLION,
            (Self::Megahertz, "khz") | (Self::Milliseconds, "us" | "µs") => 1_000,
            (Self::Megahertz, "hz") => 1,
            (Self::Milliseconds, "s" | "sec" | "seconds") => 1_000 * MILLION,
            _ => return None,
        })
    }
}

impl Quantity {
    /// Returns a frequency, exact to the hertz.
    pub fn hertz(hertz: u32) -> Self {
        Self { millionths: hertz.into(), unit: Unit::Megahertz, tolerance: 0 }
    }

    /// Returns a time, within half a part in a hundred and at least half a millisecond.
    pub fn time(time: std::time::Duration) -> Self {
        let millionths = i64::try_from(time.as_nanos()).unwrap_or(i64::MAX);
        let tolerance = (millionths / 200).max(MILLION / 2);
        Self { millionths, unit: Unit::Milliseconds, tolerance }
    }

    /// Returns decibels to the tenth; none where they are no number.
    pub fn decibels(value: f32) -> Option<Self> {
        let millionths = decimal(&format!("{value:.1}"))?;
        Some(Self { millionths, unit: Unit::Decibels, tolerance: 0 })
    }

    /// Whether a text says this quantity.
    pub(super) fn is_said_by(&self, text: &str) -> bool {
        let said = self.parse(text).ok();
        said.is_some_and(|said| said.abs_diff(self.millionths) <= self.tolerance.unsigned_abs())
    }

    /// What can be told about a wrong one.
    pub(super) fn guess(&self, text: &str) -> Option<String> {
        let said = match self.parse(text) {
            Ok(said) => said,
            Err(why) => return Some(why),
        };
        if self.millionths != 0 && said == -self.millionths {
            return Some("the right number with the wrong sign".into());
        }
        let off = |factor: i64| said.checked_mul(factor) == Some(self.millionths);
        let over = |factor: i64| self.millionths.checked_mul(factor) == Some(said);
        let powers = [10, 100, 1_000, MILLION];
        powers
            .into_iter()
            .any(|factor| off(factor) || over(factor))
            .then(|| "the right digits, the decimal point in another place".into())
    }

    /// Returns the millionths of the unit that a text says.
    fn parse(&self, text: &str) -> Result<i64, String> {
        let text = text.trim().replace(',', ".");
        let is_unit = |c: char| c.is_alphabetic();
        let (number, unit) = text.split_at(text.find(is_unit).unwrap_or(text.len()));
        let wanted = self.unit.name();
        let unit = unit.trim().trim_end_matches('.');
        let scale = self
            .unit
            .millionths_of(unit)
            .ok_or_else(|| format!("{unit:?} is not a unit for this: {wanted} expected"))?;
        let parsed = decimal(number).ok_or_else(|| format!("no number of {wanted}"))?;
        // Nobody means 868100000 MHz.
        let scale =
            if unit.is_empty() && self.unit == Unit::Megahertz && parsed >= 1_000_000 * MILLION {
                1
            } else {
                scale
            };
        let all = i128::from(parsed) * i128::from(scale) / i128::from(MILLION);
        i64::try_from(all).map_err(|_| format!("too great a number of {wanted}"))
    }
}

/// Returns the millionths of a decimal number.
fn decimal(text: &str) -> Option<i64> {
    let text: String = text.chars().filter(|c| !matches!(c, ' ' | '_' | '+')).collect();
    let (minus, digits) = match text.strip_prefix('-') {
        Some(digits) => (-1, digits),
        None => (1, text.as_str()),
    };
    let (whole, part) = digits.split_once('.').unwrap_or((digits, ""));
    let all_digits = |t: &str| t.bytes().all(|b| b.is_ascii_digit());
    if whole.is_empty() && part.is_empty() || !all_digits(whole) || !all_digits(part) {
        return None;
    }
    let whole: i64 = if whole.is_empty() { 0 } else { whole.parse().ok()? };
    let part: String = part.chars().chain("000000".chars()).take(6).collect();
    let part: i64 = part.parse().ok()?;
    whole.checked_mul(MILLION)?.checked_add(part)?.checked_mul(minus)
}

impl fmt::Display for Quantity {
    /// Prints as many decimals as it has, and three of a time.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let sign = if self.millionths < 0 { "-" } else { "" };
        let all = self.millionths.unsigned_abs();
        let (whole, part) = (all / 1_000_000, all % 1_000_000);
        let part = format!("{part:06}");
        let places = if self.unit == Unit::Milliseconds { 3 } else { 6 };
        let part: String = part.chars().take(places).collect();
        let part = part.trim_end_matches('0');
        let point = if part.is_empty() { "" } else { "." };
        write!(f, "{sign}{whole}{point}{part} {}", self.unit.name())
    }
}

const MILLION: i64 = 1_000_000;

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use super::*;

    #[test]
    fn a_frequency_is_taken_in_any_of_its_units() {
        let right = Quantity::hertz(868_100_000);
        for text in ["868.1", "868.1 MHz", "868,1mhz", "868100 kHz", "868100000", "868100000 Hz"] {
            assert!(right.is_said_by(text), "{text}");
        }
        assert!(!right.is_said_by("868.3"));
        assert_eq!(right.to_string(), "868.1 MHz");
        assert!(right.guess("8681").is_some_and(|why| why.contains("decimal point")));
        assert!(right.guess("868.1 dB").is_some_and(|why| why.contains("not a unit")));
        assert!(right.guess("often").is_some());
        assert!(right.guess("99999999999999999999").is_some());
    }

    #[test]
    fn a_time_need_not_be_exact_to_the_last_digit() {
        let right = Quantity::time(Duration::from_micros(1_482_752));
        for text in ["1482.752", "1483 ms", "1.48 s", "1482752 us"] {
            assert!(right.is_said_by(text), "{text}");
        }
        assert!(!right.is_said_by("1300"));
        assert_eq!(right.to_string(), "1482.752 ms");
    }

    #[test]
    fn decibels_have_a_sign() {
        let right = Quantity::decibels(-7.5).unwrap();
        assert!(right.is_said_by("-7.5") && right.is_said_by("-7,5 dB"));
        assert!(right.guess("7.5").is_some_and(|why| why.contains("sign")));
        assert_eq!(right.to_string(), "-7.5 dB");
        assert_eq!(Quantity::decibels(0.0).unwrap().to_string(), "0 dB");
    }
}
