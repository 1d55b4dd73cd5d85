//! The node's own console: when a transmission ended, and when the first window after it opened.
//!
//! | a time | |
//! |--------|-|
//! | `2205.8 ms`, `2.2058 s`, `2205800 us`, `2205ms` at the beginning | with its unit |
//! | `[2205]`, `(2205)`, `2205:` at the beginning, a level's letter before it | ticks of a millisecond |
//! | `[    2.205800]` at the beginning, three decimals or six | seconds |
//! | `2026-03-02T08:00:03.210Z`, `08:00:03.210`, `08:00:03,210` | a clock, two decimals or more |
//!
//! A clock of whole seconds is too coarse for windows, and is left alone. Words tell what happened,
//! whatever their case: [`ENDED`], [`OPENED`], and [`OTHERWISE`] for what only looks like it.

#[cfg(feature = "cli")]
mod events;

#[cfg(feature = "cli")]
pub(crate) use events::{Setting, setting, statements};

/// What says that a transmission ended.
const ENDED: &[&str] = &[
    "tx done",
    "txdone",
    "tx_done",
    "tx-done",
    "tx complete",
    "txcomplete",
    "tx_complete",
    "tx finished",
    "tx end",
    "transmission done",
    "transmission complete",
    "transmission finished",
    "end of transmission",
    "uplink sent",
];
/// What says that a window opened.
const OPENED: &[&str] = &[
    "receive on",
    "rx on",
    "rx1",
    "rx 1",
    "rx_1",
    "rx window",
    "rxwindow",
    "rx_window",
    "rx open",
    "open rx",
    "receive window",
    "window open",
    "window 1",
];
/// What says that it is something else: planned, over, or the second window.
const OTHERWISE: &[&str] = &[
    "timeout", "timer", "param", "byte", "clos", "done", "end", "delay", "fail", "error",
    "schedul", "plan", "set", "will", " in ", "rx2", "rx 2", "rx_2", "window 2", "window2",
];

/// What says that a join is over, or that there is none.
const JOIN_OVER: &[&str] = &["joined", "accept", "success", "complete", "join ok", "not join"];

/// A first window, as a console tells it.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Window {
    /// From the end of transmission, microseconds.
    pub(crate) after_us: i64,
    /// On which frequency it opens and how fine that is written, hertz, where the console says it.
    pub(crate) hz: Option<(u32, u32)>,
    /// What the console says.
    pub(crate) line: String,
    /// Whether the console spoke of a join before the transmission.
    pub(crate) of_join: bool,
}

/// What happened.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
enum Event {
    Ended,
    Opened,
}

/// A time of a console, microseconds.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
enum Time {
    /// Since the node was started.
    Ticks(i64),
    /// Of the day.
    Clock(i64),
}

impl Time {
    /// What passed since an earlier time; a clock may have passed midnight.
    fn since(self, before: Self) -> Option<i64> {
        match (before, self) {
            (Self::Ticks(a), Self::Ticks(b)) => Some(b - a),
            (Self::Clock(a), Self::Clock(b)) => Some((b - a).rem_euclid(DAY_US)),
            _ => None,
        }
    }
}

/// Returns the first windows after transmissions; those of joins where the console names any.
pub(crate) fn first_windows(log: &[String]) -> Vec<Window> {
    let mut out: Vec<Window> = Vec::new();
    // The end of the last transmission, until its first window; and whether joining was spoken of.
    let mut ended: Option<(Time, bool)> = None;
    let mut joins = false;
    for line in log {
        joins |= speaks_of_joining(line);
        match (read(line), ended) {
            (Some((at, Event::Ended, _)), _) => {
                ended = Some((at, joins));
                joins = false;
            }
            (Some((at, Event::Opened, words)), Some((end, of_join))) => {
                let after_us = at.since(end);
                // No window opens before the least RxDelay: this speaks of what is to come.
                if after_us.is_some_and(|us| (0..LEAST_US).contains(&us)) {
                    continue;
                }
                ended = None;
                if let Some(after_us) = after_us.filter(|us| (0..MOST_US).contains(us)) {
                    let (hz, line) = (frequency(words), words.to_owned());
                    out.push(Window { after_us, hz, line, of_join });
                }
            }
            _ => {}
        }
    }
    if out.iter().any(|window| window.of_join) {
        out.retain(|window| window.of_join);
    }
    out
}

/// Whether a join is under way: what says that one is over speaks of the data after it.
fn speaks_of_joining(line: &str) -> bool {
    let line = line.to_lowercase();
    line.contains("join") && !JOIN_OVER.iter().any(|word| line.contains(word))
}

/// Returns whether a console tells any first window.
#[cfg(feature = "cli")]
pub(crate) fn tells_a_window(log: &[String]) -> bool {
    !first_windows(log).is_empty()
}

/// Returns whether a line of a console says something that a diagnosis can use.
#[cfg(feature = "cli")]
pub(crate) fn is_told(line: &str) -> bool {
    read(line).is_some() || speaks_of_sending(line)
}

/// Returns whether a line says that the node transmits.
pub(crate) fn speaks_of_sending(line: &str) -> bool {
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

/// Returns the frequencies on which a console says that it transmits: every number followed by `MHz`.
pub(crate) fn logged_frequencies(log: &[String]) -> Vec<u32> {
    let mut out = Vec::new();
    for line in log.iter().filter(|line| speaks_of_sending(line)) {
        let words: Vec<&str> = line.split_whitespace().collect();
        for pair in words.windows(2) {
            let [number, unit] = pair else { continue };
            if unit.trim_matches(|c: char| !c.is_alphanumeric()).eq_ignore_ascii_case("mhz")
                && let Ok(value) = number.parse::<f64>()
                && (100.0..=1_000.0).contains(&value)
            {
                #[expect(
                    clippy::cast_possible_truncation,
                    clippy::cast_sign_loss,
                    reason = "below 10^9"
                )]
                out.push((value * 1e6).round() as u32);
            }
        }
    }
    out
}

fn read(line: &str) -> Option<(Time, Event, &str)> {
    let (time, words) = time(line)?;
    let small = words.to_lowercase();
    let says = |table: &[&str]| table.iter().any(|word| small.contains(word));
    let event = if says(ENDED) {
        Event::Ended
    } else if says(OPENED) && !says(OTHERWISE) {
        Event::Opened
    } else {
        return None;
    };
    Some((time, event, words))
}

/// Splits a line into its time and its words.
fn time(line: &str) -> Option<(Time, &str)> {
    let line = line.trim();
    ticks(line).or_else(|| clock(line))
}

fn ticks(line: &str) -> Option<(Time, &str)> {
    // The letter of a level may stand first: `I (2205) mac: tx done`.
    let level = line.strip_prefix(|c: char| c.is_ascii_uppercase()).map(str::trim_start);
    let line = level.filter(|rest| rest.starts_with('(')).unwrap_or(line);
    let (closing, rest) = match (line.strip_prefix('['), line.strip_prefix('(')) {
        (Some(inner), _) => (Some(']'), inner.trim_start()),
        (_, Some(inner)) => (Some(')'), inner.trim_start()),
        (None, None) => (None, line),
    };
    let end = rest.find(|c: char| !c.is_ascii_digit() && c != '.')?;
    let (number, rest) = rest.split_at(end);
    let value: f64 = number.parse().ok()?;
    let decimals = number.split_once('.').map_or(0, |(_, decimals)| decimals.len());
    let (scale, rest) = if let Some(closing) = closing {
        let rest = rest.trim_start();
        match (decimals, rest.strip_prefix(closing), unit(rest)) {
            (_, None, Some((scale, rest))) => (scale, rest.trim_start().strip_prefix(closing)?),
            (0, Some(rest), _) => (1e3, rest),
            (3 | 6, Some(rest), _) => (1e6, rest),
            _ => return None,
        }
    } else if let Some(rest) =
        rest.strip_prefix(':').filter(|r| !r.starts_with(|c: char| c.is_ascii_digit()))
    {
        (1e3, rest)
    } else {
        unit(rest.trim_start())?
    };
    let micros = (value * scale).round();
    #[expect(clippy::cast_possible_truncation, reason = "bounded by the filter")]
    (micros.is_finite() && micros < 1e15).then(|| (Time::Ticks(micros as i64), rest.trim_start()))
}

fn unit(text: &str) -> Option<(f64, &str)> {
    let end = text.find(|c: char| !c.is_ascii_alphabetic()).unwrap_or(text.len());
    let (unit, rest) = text.split_at(end);
    let scale = match unit.to_ascii_lowercase().as_str() {
        "ms" => 1e3,
        "s" => 1e6,
        "us" => 1.0,
        _ => return None,
    };
    Some((scale, rest))
}

/// `868.1 MHz`, `868.1`, `868100000`: a number of those that a radio of these bands is tuned to, and
/// how fine it is written, both in hertz.
fn frequency(words: &str) -> Option<(u32, u32)> {
    let cut = |c: char| !c.is_ascii_alphanumeric() && c != '.';
    let words: Vec<&str> = words.split(cut).filter(|word| !word.is_empty()).collect();
    words.iter().enumerate().find_map(|(i, word)| {
        let digits = word.find(|c: char| c.is_ascii_alphabetic()).unwrap_or(word.len());
        let (number, unit) = word.split_at(digits);
        let value: f64 = number.parse().ok()?;
        let decimals = number.split_once('.').map_or(0, |(_, decimals)| decimals.len());
        let unit =
            if unit.is_empty() { words.get(i + 1).copied().unwrap_or_default() } else { unit };
        let mega = match unit.to_ascii_lowercase().as_str() {
            "mhz" => true,
            "hz" => false,
            _ if value > 1e8 => false,
            // A channel's frequency is written with what stands behind the point.
            _ if decimals > 0 => true,
            _ => return None,
        };
        let hertz = if mega { value * 1e6 } else { value };
        let fine = if mega {
            10u32.checked_pow(6u32.checked_sub(u32::try_from(decimals).ok()?)?)?
        } else {
            1
        };
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "within the bands"
        )]
        BANDS_HZ.contains(&hertz).then(|| (hertz.round() as u32, fine))
    })
}

/// From the lowest band of the regions to the highest below 1 GHz.
const BANDS_HZ: std::ops::RangeInclusive<f64> = 433e6..=928e6;

/// `08:00:03.210`, wherever the line has it first.
fn clock(line: &str) -> Option<(Time, &str)> {
    let octets = line.as_bytes();
    let at = octets.windows(8).take(HEAD).position(|w| {
        let digit = |at: usize| w.get(at).is_some_and(u8::is_ascii_digit);
        [0, 1, 3, 4, 6, 7].into_iter().all(digit)
            && w.get(2) == Some(&b':')
            && w.get(5) == Some(&b':')
    })?;
    let two = |from: usize| line.get(at + from..at + from + 2)?.parse::<i64>().ok();
    let (hour, minute, second) = (two(0)?, two(3)?, two(6)?);
    let rest = line.get(at + 8..)?.strip_prefix(['.', ','])?;
    let digits = rest.find(|c: char| !c.is_ascii_digit()).unwrap_or(rest.len());
    if digits < 2 || hour > 23 || minute > 59 || second > 60 {
        return None;
    }
    let micros: i64 = format!("{:0<6}", rest.get(..digits.min(6))?).parse().ok()?;
    let seconds = hour * 3_600 + minute * 60 + second;
    // A zone belongs to the time.
    let words = rest.get(digits..)?.trim_start_matches(|c: char| !c.is_whitespace());
    Some((Time::Clock(seconds * 1_000_000 + micros), words.trim_start()))
}

const DAY_US: i64 = 86_400_000_000;
/// RxDelay is 1 s at the least; a window may open a little earlier.
const LEAST_US: i64 = 900_000;
/// A window opens within this time of its transmission.
const MOST_US: i64 = 20_000_000;
/// Octets of a line in which its clock is looked for.
const HEAD: usize = 64;

#[cfg(test)]
mod tests {
    use super::*;

    fn after(log: &[&str]) -> Vec<i64> {
        let log: Vec<String> = log.iter().map(|line| (*line).to_owned()).collect();
        first_windows(&log).into_iter().map(|window| window.after_us).collect()
    }

    #[test]
    fn windows_are_read_in_every_form_of_time() {
        for log in [
            ["2205.8 ms tx done", "8587.8 ms receive on 868.1 MHz SF9"],
            ["2205.8 ms TX done", "8587.8 ms RX1 868.1 MHz"],
            ["2205800 us tx complete", "8587800 us rx window open"],
            ["2.2058 s end of transmission", "8.5878 s rx on 868100000"],
            ["[2205] TX_DONE", "[8587] RX1 open"],
            ["I (2205) mac: TX_COMPLETE", "D (8587) mac: RX_WINDOW_1"],
            ["2205: txdone", "8587: rx 1"],
            ["2205ms: tx done", "8587ms: rx1"],
            ["[    2.205800] radio: tx done", "[    8.587800] radio: rx1"],
            ["2026-03-02T08:00:02.205Z mac: tx done", "2026-03-02T08:00:08.587Z mac: rx1"],
            ["08:00:02,205 tx done", "08:00:08,587 rx1 868.1"],
            ["23:59:58.205 tx done", "00:00:04.587 rx1"],
        ] {
            let found = after(&log);
            assert_eq!(found.len(), 1, "{log:?}");
            assert!((found[0] - 6_382_000).abs() <= 1_000, "{log:?}: {found:?}");
        }
    }

    #[test]
    fn what_is_planned_over_or_the_second_window_is_no_first_window() {
        for line in [
            "8000 ms rx1 timeout",
            "8000 ms rx1 delay 5000",
            "8000 ms will open rx1",
            "8000 ms rx1 in 5000 ms",
            "8000 ms rx2 869.525 MHz",
            "8000 ms rx1 closed",
            "2002 ms rx window timer started",
            "2002 ms rx1 param: freq 868.3 MHz dr 3",
            "2002 ms rx1 freq: 868.3",
            "8000 ms uart rx 12 bytes",
            "08:00:08 rx1",
            "rx1",
            "",
        ] {
            assert_eq!(after(&["2000 ms tx done", line]), Vec::<i64>::new(), "{line}");
        }
        // Another clock tells nothing, nor does a window of long after.
        assert_eq!(after(&["2000 ms tx done", "08:00:08.000 rx1"]), Vec::<i64>::new());
        assert_eq!(after(&["2000 ms tx done", "92000 ms rx1"]), Vec::<i64>::new());
        assert_eq!(after(&["7000 ms rx1"]), Vec::<i64>::new());
    }

    #[test]
    fn a_window_s_frequency_is_read_where_it_is_said() {
        let of = |words: &str| {
            let log = ["0 ms tx done".to_owned(), format!("5000 ms {words}")];
            first_windows(&log).first().map(|window| window.hz)
        };
        for words in [
            "rx1 868.1 MHz SF9",
            "rx1: 868100000",
            "RX1 on 868100000Hz",
            "rx 1, 868.1MHz",
            "rx1 868.1",
        ] {
            assert_eq!(of(words).flatten().map(|(hz, _)| hz), Some(868_100_000), "{words}");
        }
        assert_eq!(of("rx1 868 MHz"), Some(Some((868_000_000, 1_000_000))));
        for words in [
            "rx1",
            "rx1 channel 0 500 kHz",
            "rx1 open, 500 ms",
            "rx1 SF9 125 kHz",
            "rx1 timeout in 500",
            "rx1 len 33 rssi -84.5",
        ] {
            assert!(of(words).is_none_or(|hz| hz.is_none()), "{words}");
        }
    }

    #[test]
    fn windows_of_joins_are_told_from_those_of_data() {
        let log = [
            "0 ms join request",
            "100 ms tx done",
            "5100 ms rx1",
            "6100 ms rx2",
            "9000 ms send data",
            "9100 ms tx done",
            "10100 ms rx1",
        ];
        assert_eq!(after(&log), [5_000_000]);
        assert_eq!(after(&log[4..]), [1_000_000]);
        // That a join is over is no join.
        for over in ["8000 ms joined", "8000 ms JOIN OK", "8000 ms join accept: DevAddr 0201BBDA"] {
            let log = [over, "9100 ms tx done", "10100 ms rx1"].map(str::to_owned);
            assert!(!first_windows(&log)[0].of_join, "{over}");
        }
    }
}
