//! Numbers as people of the trade write them.

use jiff::Timestamp;

use crate::trace::Line;

/// Returns `868.1 MHz`, with as many decimals as the value has.
pub(in crate::ladder) fn mhz(hz: u32) -> String {
    let whole = hz / 1_000_000;
    let rest = format!("{:06}", hz % 1_000_000);
    let rest = rest.trim_end_matches('0');
    if rest.is_empty() { format!("{whole}.0 MHz") } else { format!("{whole}.{rest} MHz") }
}

/// Returns `5.000000 s`.
pub(in crate::ladder) fn seconds(us: i64) -> String {
    let sign = if us < 0 { "-" } else { "" };
    let us = us.unsigned_abs();
    format!("{sign}{}.{:06} s", us / 1_000_000, us % 1_000_000)
}

/// Returns `0.42 s` or `1.2 ms`.
pub(in crate::ladder) fn short_seconds(us: i64) -> String {
    if us.abs() < 10_000 {
        format!("{}.{} ms", us / 1000, us.abs() % 1000 / 100)
    } else {
        format!("{}.{:02} s", us / 1_000_000, us.abs() % 1_000_000 / 10_000)
    }
}

/// Returns `line 3 (08:00:03Z)`.
pub(in crate::ladder) fn place(line: Line, at: Option<Timestamp>) -> String {
    match at {
        Some(at) => format!("{line} ({})", at.strftime("%H:%M:%SZ")),
        None => line.to_string(),
    }
}

/// Returns `one Join-Request`, `4 Join-Requests`.
pub(in crate::ladder) fn count(n: usize, thing: &str) -> String {
    match n {
        1 => format!("one {thing}"),
        n => format!("{n} {thing}s"),
    }
}

/// Returns channels as `8-15, 65`.
pub(in crate::ladder) fn channels(list: &[u16]) -> String {
    let mut runs = Vec::new();
    let mut rest = list;
    while let Some(&first) = rest.first() {
        let run = rest.iter().zip(first..).take_while(|(have, want)| **have == *want).count();
        let (run, tail) = rest.split_at(run.max(1));
        match run {
            [a, .., b] => runs.push(format!("{a}-{b}")),
            _ => runs.push(first.to_string()),
        }
        rest = tail;
    }
    runs.join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn frequencies_keep_their_decimals() {
        assert_eq!(mhz(868_100_000), "868.1 MHz");
        assert_eq!(mhz(916_799_987), "916.799987 MHz");
        assert_eq!(mhz(869_525_000), "869.525 MHz");
        assert_eq!(mhz(869_000_000), "869.0 MHz");
    }

    #[test]
    fn channels_are_told_in_runs() {
        assert_eq!(channels(&[8, 9, 10, 65]), "8-10, 65");
        assert_eq!(channels(&[]), "");
    }

    #[test]
    fn times_keep_microseconds() {
        assert_eq!(seconds(5_000_000), "5.000000 s");
        assert_eq!(seconds(-1_200), "-0.001200 s");
        assert_eq!(short_seconds(1_200), "1.2 ms");
        assert_eq!(short_seconds(2_310_000), "2.31 s");
    }
}
