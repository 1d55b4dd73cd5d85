//! Facts in words.
//!
//! Numbers are written as people of the trade write them: with a unit, and with as many digits as
//! they are true to.

use std::fmt;

use jiff::Timestamp;

use super::{Cite, Fact, Part, Value};
use crate::{region::Megahertz, words::Count};

/// Whether keys stand in the open.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Secrets {
    /// Keys, and whatever tells of them, are named and not shown.
    Hidden,
    /// They are shown, to a user who asked for it.
    Shown,
}

impl fmt::Display for Fact {
    /// Writes its words, without digits of keys.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write(self, Secrets::Hidden, f)
    }
}

/// Returns the words of a fact.
pub fn text(fact: &Fact, secrets: Secrets) -> String {
    let mut out = String::new();
    // A string takes whatever it is given.
    let _ = write(fact, secrets, &mut out);
    out
}

/// Writes the words of a fact.
///
/// # Errors
/// Whatever the writer says.
pub fn write(fact: &Fact, secrets: Secrets, out: &mut dyn fmt::Write) -> fmt::Result {
    for part in fact.parts() {
        match part {
            Part::Words(words) => out.write_str(words)?,
            Part::Value(value) => write_value(value, secrets, out)?,
        }
    }
    Ok(())
}

/// Writes the words of one value.
///
/// # Errors
/// Whatever the writer says.
pub fn write_value(value: &Value, secrets: Secrets, out: &mut dyn fmt::Write) -> fmt::Result {
    match value {
        Value::Text(words) => out.write_str(words),
        Value::Cite(cite) => write_cite(cite, out),
        Value::Number(n) => write!(out, "{n}"),
        Value::Count(n, noun) => {
            write!(out, "{}", Count(usize::try_from(*n).unwrap_or(usize::MAX), noun))
        }
        Value::Decimal(n) | Value::Dbm(n) | Value::Db(n) => {
            write!(out, "{}", Tenths(*n))?;
            out.write_str(match value {
                Value::Dbm(_) => " dBm",
                Value::Db(_) => " dB",
                _ => "",
            })
        }
        Value::Frequency(hz) => write!(out, "{} MHz", Megahertz(*hz)),
        Value::Offset(hz) => write_offset(*hz, out),
        Value::Channels(channels) => write_channels(channels, out),
        Value::Tally(numbers) => write_tally(numbers, out),
        Value::Rate(rate) => write!(out, "{rate}"),
        Value::Micros(us) => write_seconds(*us, out),
        Value::About(us) => write_about(*us, out),
        Value::Apart(us) => {
            write_about(us.saturating_abs(), out)?;
            out.write_str(if *us < 0 { " behind" } else { " ahead of" })
        }
        Value::Time(time) => write!(out, "{time}"),
        Value::Eui(eui) => write!(out, "{eui}"),
        Value::DevAddr(addr) => write!(out, "{addr}"),
        Value::NetId(id) => write!(out, "{id}"),
        Value::Bytes(bytes) => out.write_str(&hex::encode(bytes)),
        Value::Probability(p) => write!(out, "{p:.0e}"),
        Value::Command(command) => write!(out, "{command}"),
        Value::Secret(secret) => match secrets {
            Secrets::Shown => write(secret.revealed(), secrets, out),
            Secrets::Hidden => write(secret.hidden(), secrets, out),
        },
        Value::List(values, separator) => {
            for (i, value) in values.iter().enumerate() {
                if i > 0 {
                    out.write_str(separator)?;
                }
                write_value(value, secrets, out)?;
            }
            Ok(())
        }
        Value::Fact(fact) => write(fact, secrets, out),
    }
}

/// Writes `line 3`, `line 3 (08:00:03Z)`, `packet 7 of capture 2`.
fn write_cite(cite: &Cite, out: &mut dyn fmt::Write) -> fmt::Result {
    write!(out, "{}", cite.line)?;
    match cite.time {
        Some(time) if cite.timed => write!(out, " ({})", Clock(time)),
        _ => Ok(()),
    }
}

/// A time of day, UTC.
struct Clock(Timestamp);

impl fmt::Display for Clock {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.0.strftime("%H:%M:%SZ"))
    }
}

/// A number with one decimal at the most: what a radio reports is true to no more.
struct Tenths(f64);

impl fmt::Display for Tenths {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let tenths = (self.0 * 10.0).round() / 10.0;
        // No `-0`.
        write!(f, "{}", if tenths == 0.0 { 0.0 } else { tenths })
    }
}

/// Writes `13 Hz below`, `200 kHz above`, `1.0 MHz below`.
fn write_offset(offset_hz: i64, out: &mut dyn fmt::Write) -> fmt::Result {
    let side = if offset_hz < 0 { "below" } else { "above" };
    match offset_hz.unsigned_abs() {
        hz @ 0..10_000 => write!(out, "{hz} Hz {side}"),
        hz @ 10_000..1_000_000 => write!(out, "{} kHz {side}", hz / 1_000),
        hz => write!(out, "{}.{} MHz {side}", hz / 1_000_000, hz % 1_000_000 / 100_000),
    }
}

/// Writes channels as `8-15, 65`.
fn write_channels(channels: &[u16], out: &mut dyn fmt::Write) -> fmt::Result {
    let mut rest = channels;
    while let Some(&first) = rest.first() {
        if rest.len() < channels.len() {
            out.write_str(", ")?;
        }
        let run = rest.iter().zip(first..).take_while(|(have, want)| **have == *want).count();
        let (run, tail) = rest.split_at(run.max(1));
        match run {
            [a, .., b] => write!(out, "{a}-{b}")?,
            _ => write!(out, "{first}")?,
        }
        rest = tail;
    }
    Ok(())
}

/// Numbers of a tally that are worded; more of them help nobody.
const MOST_TOLD: usize = 12;

/// Writes numbers as `7, 9 (3 times)`, each once.
fn write_tally(numbers: &[u16], out: &mut dyn fmt::Write) -> fmt::Result {
    let mut seen: Vec<(u16, usize)> = Vec::new();
    for n in numbers {
        match seen.iter_mut().find(|(m, _)| m == n) {
            Some((_, times)) => *times += 1,
            None => seen.push((*n, 1)),
        }
    }
    for (i, (n, times)) in seen.iter().take(MOST_TOLD).enumerate() {
        let separator = if i > 0 { ", " } else { "" };
        match times {
            1 => write!(out, "{separator}{n}")?,
            times => write!(out, "{separator}{n} ({times} times)")?,
        }
    }
    match seen.len().saturating_sub(MOST_TOLD) {
        0 => Ok(()),
        more => write!(out, ", and {more} more"),
    }
}

/// Writes `5.000000 s`.
fn write_seconds(us: i64, out: &mut dyn fmt::Write) -> fmt::Result {
    let sign = if us < 0 { "-" } else { "" };
    let us = us.unsigned_abs();
    write!(out, "{sign}{}.{:06} s", us / 1_000_000, us % 1_000_000)
}

/// Writes `1.2 ms`, `0.42 s`, `3 min 20 s`, `2 h 5 min`.
fn write_about(us: i64, out: &mut dyn fmt::Write) -> fmt::Result {
    let sign = if us < 0 { "-" } else { "" };
    let us = us.unsigned_abs();
    let seconds = us / 1_000_000;
    match us {
        0..10_000 => write!(out, "{sign}{}.{} ms", us / 1_000, us % 1_000 / 100),
        10_000..120_000_000 => write!(out, "{sign}{seconds}.{:02} s", us % 1_000_000 / 10_000),
        120_000_000..7_200_000_000 => {
            write!(out, "{sign}{} min {} s", seconds / 60, seconds % 60)
        }
        _ => write!(out, "{sign}{} h {} min", seconds / 3_600, seconds / 60 % 60),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn words(value: impl Into<Value>) -> String {
        let mut out = String::new();
        write_value(&value.into(), Secrets::Hidden, &mut out).unwrap();
        out
    }

    #[test]
    fn numbers_have_their_units_and_their_digits() {
        assert_eq!(words(Value::Frequency(868_100_000)), "868.1 MHz");
        assert_eq!(words(Value::Frequency(916_799_987)), "916.799987 MHz");
        assert_eq!(words(Value::Frequency(869_000_000)), "869.0 MHz");
        assert_eq!(words(Value::Micros(5_000_000)), "5.000000 s");
        assert_eq!(words(Value::Micros(-1_200)), "-0.001200 s");
        assert_eq!(words(Value::About(1_200)), "1.2 ms");
        assert_eq!(words(Value::About(2_310_000)), "2.31 s");
        assert_eq!(words(Value::About(200_000_000)), "3 min 20 s");
        assert_eq!(words(Value::Apart(-2_310_000)), "2.31 s behind");
        assert_eq!(words(Value::Apart(2_310_000)), "2.31 s ahead of");
        assert_eq!(words(Value::Dbm(-118.04)), "-118 dBm");
        assert_eq!(words(Value::Db(7.25)), "7.3 dB");
        assert_eq!(words(Value::Count(1, "request")), "1 request");
        assert_eq!(words(Value::Count(2, "request")), "2 requests");
        assert_eq!(words(Value::list([7_i64, 9])), "7, 9");
    }

    #[test]
    fn numbers_that_repeat_and_channels_in_a_row_are_worded_once() {
        assert_eq!(words(Value::Tally(vec![7, 9, 9, 9, 12])), "7, 9 (3 times), 12");
        let many = words(Value::Tally((1..=14).collect()));
        assert!(many.ends_with("11, 12, and 2 more"), "{many}");
        assert_eq!(words(Value::Channels(vec![8, 9, 10, 65])), "8-10, 65");
        assert_eq!(words(Value::Channels(Vec::new())), "");
        assert_eq!(words(Value::Offset(-13)), "13 Hz below");
        assert_eq!(words(Value::Offset(-1_000_000)), "1.0 MHz below");
        assert_eq!(words(Value::Offset(200_000)), "200 kHz above");
    }
}
