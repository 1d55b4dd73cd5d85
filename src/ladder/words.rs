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

/// Returns how far beside a channel a frequency lies: `13 Hz below`, `1.0 MHz above`.
pub(in crate::ladder) fn beside(offset_hz: i64) -> String {
    let side = if offset_hz < 0 { "below" } else { "above" };
    match offset_hz.unsigned_abs() {
        hz @ 0..10_000 => format!("{hz} Hz {side}"),
        hz @ 10_000..1_000_000 => format!("{} kHz {side}", hz / 1_000),
        hz => format!("{}.{} MHz {side}", hz / 1_000_000, hz % 1_000_000 / 100_000),
    }
}

/// Returns numbers as `7, 9 (3 times)`, each once, a dozen at the most.
pub(in crate::ladder) fn tally(numbers: &[u16]) -> String {
    let mut seen: Vec<(u16, usize)> = Vec::new();
    for n in numbers {
        match seen.iter_mut().find(|(m, _)| m == n) {
            Some((_, times)) => *times += 1,
            None => seen.push((*n, 1)),
        }
    }
    let told = seen.iter().take(12).map(|(n, times)| match times {
        1 => n.to_string(),
        times => format!("{n} ({times} times)"),
    });
    let mut out: Vec<String> = told.collect();
    if seen.len() > 12 {
        out.push(format!("and {} more", seen.len() - 12));
    }
    out.join(", ")
}

/// Returns `5.000000 s`.
pub(in crate::ladder) fn seconds(us: i64) -> String {
    let sign = if us < 0 { "-" } else { "" };
    let us = us.unsigned_abs();
    format!("{sign}{}.{:06} s", us / 1_000_000, us % 1_000_000)
}

/// Returns `5.000000 s after the request`, or `before` it.
pub(in crate::ladder) fn from_request(us: i64) -> String {
    let side = if us < 0 { "before" } else { "after" };
    format!("{} {side} the request", seconds(us.saturating_abs()))
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

/// Returns whether a line of a node's console says that the node transmits.
pub(in crate::ladder) fn speaks_of_sending(line: &str) -> bool {
    let line = line.to_lowercase();
    // `ctx` and `sendto` within other words are no transmission.
    let mut words = line.split(|c: char| !c.is_alphanumeric());
    let says =
        |word: &str| ["join", "tx", "transmit", "uplink"].iter().any(|w| word.starts_with(w));
    !line.contains("receive")
        && !line.contains("rx")
        && (line.contains("txdone")
            || words.any(|word| says(word) || matches!(word, "send" | "sending" | "sends")))
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
    fn numbers_are_told_once() {
        assert_eq!(tally(&[7, 9, 9, 9, 12]), "7, 9 (3 times), 12");
        assert_eq!(beside(-13), "13 Hz below");
        assert_eq!(beside(-1_000_000), "1.0 MHz below");
        assert_eq!(beside(200_000), "200 kHz above");
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
