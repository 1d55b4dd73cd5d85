//! A console's lines as statements: what the node sends, when its windows open, how its join ends.
//!
//! Numbers without a unit are ticks. The console may say how long one is; else it is told by the
//! windows: the unit by which the first of them lies at RX1, if it is one only.

use super::{
    ENDED, LEAST_US, MOST_US, OPENED, Time, frequency, speaks_of_joining, speaks_of_sending, time,
};
use crate::{intake::event::Statement, words::log_line};

/// What a command of a dialogue sets.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(crate) enum Setting {
    DevEui,
    AppKey,
}

/// Lengths of a tick that are in use, microseconds: 64 kHz, 62.5 kHz, 32.768 kHz, 32 kHz, 31.25 kHz, 1 kHz.
const TICKS_US: [f64; 6] = [15.625, 16.0, 30.517_578_125, 31.25, 32.0, 1_000.0];
/// A window this near RX1 is there.
const AT_RX1_US: i64 = 60_000;
/// Words of a first window that is not opened now.
const OTHER: &[&str] = &[
    "timeout", "timer", "param", "byte", "clos", "done", "end", "fail", "error", "schedul", "plan",
    "set", "will", "rx2", "rx 2", "rx_2", "window 2", "window2", "no ",
];
const FAILED: &[&str] = &[
    "join failed",
    "join fail",
    "join: failed",
    "join not successful",
    "join unsuccessful",
    "not joined",
    "join error",
    "join rejected",
    "failed to join",
    "join_failed",
    "otaa failed",
    "no accept",
];
const JOINED: &[&str] = &[
    "joined",
    "join success",
    "join accepted",
    "join ok",
    "join: ok",
    "join complete",
    "join done",
];
const BEGINS: &[&str] =
    &["join starts", "join start", "join begins", "joining", "set join", "at+join", "join request"];

/// Returns what lines say, each with its number and its words.
pub(crate) fn statements(lines: &[(u64, String)]) -> Vec<(u64, Statement, Box<str>)> {
    let tick = stated_tick(lines).or_else(|| tick_by_windows(lines));
    let mut out: Vec<(u64, Statement, Box<str>)> = Vec::new();
    // The end of the last transmission, until its first window; whether joining was spoken of; the windows
    // that may yet turn out to be a join's.
    let mut ended: Option<Time> = None;
    let (mut joins, mut since) = (false, 0);
    for (at, (number, line)) in lines.iter().enumerate() {
        let small = line.to_lowercase();
        let says = |table: &[&str]| table.iter().any(|word| small.contains(word));
        let mut say = |what| out.push((*number, what, log_line(line.trim()).into()));
        if setting(line).is_some_and(|(name, _)| name == Setting::DevEui) {
            say(Statement::DevEuiSet);
            continue;
        }
        if setting(line).is_some_and(|(name, _)| name == Setting::AppKey) {
            say(Statement::RootKeySet);
            continue;
        }
        if says(FAILED) {
            if !says(&["no accept"]) {
                say(Statement::JoinFailed);
            }
            for (_, what, _) in out.get_mut(since..).unwrap_or_default() {
                if let Statement::WindowOpened { of_join, .. } = what {
                    *of_join = true;
                }
            }
            continue;
        }
        if says(JOINED) && !says(&["not ", "joinmode", "if ", "?"]) {
            let dev_addr = lines.iter().skip(at).take(4).find_map(|(_, line)| address(line));
            say(Statement::Joined { dev_addr });
            continue;
        }
        let (now, words) = match stamped(line, tick) {
            Some((time, words)) => (Some(time), words),
            None => (None, line.as_str()),
        };
        joins |= speaks_of_joining(line);
        if says(ENDED) {
            ended = now;
            continue;
        }
        let opens = says(OPENED)
            && !says(OTHER)
            && !(says(&["delay", " in "]) && frequency(words).is_none());
        if opens && let (Some(now), Some(end)) = (now, ended) {
            if let Some(after_us) = now.since(end).filter(|us| (LEAST_US..MOST_US).contains(us)) {
                ended = None;
                say(Statement::WindowOpened {
                    after_us,
                    freq_hz: frequency(words),
                    of_join: joins,
                });
                joins = false;
            }
            continue;
        }
        if speaks_of_sending(words)
            && let Some((hz, _)) = frequency(words)
        {
            since = out.len();
            out.push((
                *number,
                Statement::Transmitted { freq_hz: Some(hz) },
                log_line(line.trim()).into(),
            ));
        } else if says(BEGINS) {
            say(Statement::Joining);
        }
    }
    out
}

/// A line's time: with its unit, or in ticks of this length.
fn stamped(line: &str, tick: Option<f64>) -> Option<(Time, &str)> {
    if let Some((ticks, words)) = bare(line) {
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_precision_loss,
            reason = "far below 2^53"
        )]
        return Some((Time::Ticks((ticks as f64 * tick?).round() as i64), words));
    }
    time(line)
}

/// A number in front, without a unit.
fn bare(line: &str) -> Option<(i64, &str)> {
    let line = line.trim_start();
    let len = line.find(|c: char| !c.is_ascii_digit())?;
    let (digits, rest) = line.split_at(len);
    let words = rest.trim_start();
    let unit = words.split(|c: char| !c.is_ascii_alphabetic()).next().unwrap_or_default();
    let has_unit =
        matches!(unit.to_ascii_lowercase().as_str(), "ms" | "s" | "us" | "mhz" | "khz" | "hz");
    let alone = rest.starts_with(char::is_whitespace) && !has_unit;
    (alone && (3..=12).contains(&digits.len()))
        .then(|| Some((digits.parse().ok()?, words)))
        .flatten()
}

/// `1 tick = 16 us`, `ticks of 16 us`, `tick is 15.625 us`.
fn stated_tick(lines: &[(u64, String)]) -> Option<f64> {
    lines.iter().find_map(|(_, line)| {
        let small = line.to_lowercase();
        if !small.contains("tick") {
            return None;
        }
        let words: Vec<&str> = small
            .split(|c: char| !c.is_alphanumeric() && c != '.')
            .filter(|w| !w.is_empty())
            .collect();
        words.windows(2).find_map(|pair| match pair {
            [number, "us" | "\u{b5}s"] => {
                number.parse().ok().filter(|tick| (1.0..=10_000.0).contains(tick))
            }
            _ => None,
        })
    })
}

/// The only length of a tick by which every first window lies at RX1.
fn tick_by_windows(lines: &[(u64, String)]) -> Option<f64> {
    let mut ended = None;
    let mut delays = Vec::new();
    for (_, line) in lines {
        let Some((ticks, words)) = bare(line) else { continue };
        let small = words.to_lowercase();
        let says = |table: &[&str]| table.iter().any(|word| small.contains(word));
        if says(ENDED) {
            ended = Some(ticks);
        } else if says(OPENED)
            && !says(OTHER)
            && let Some(end) = ended.take()
        {
            delays.push(ticks - end);
        }
    }
    // Two lengths of a tick that differ by less than a window's leeway are one.
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_precision_loss,
        reason = "far below 2^53"
    )]
    let fits = |tick: &f64| {
        !delays.is_empty()
            && delays.iter().all(|delay| {
                let us = (*delay as f64 * tick) as i64;
                [1_000_000, 5_000_000].iter().any(|rx1| (us - rx1).abs() <= AT_RX1_US)
            })
    };
    let mut all = TICKS_US.into_iter().filter(fits);
    let only = all.next()?;
    all.next().is_none().then_some(only)
}

/// `DevAddr: 02334F63`.
fn address(line: &str) -> Option<crate::id::DevAddr> {
    let small = line.to_lowercase();
    let at = small.find("devaddr")?;
    let rest = small.get(at + 7..)?.trim_start_matches(|c: char| !c.is_ascii_hexdigit());
    let rest = rest.strip_prefix("0x").unwrap_or(rest);
    rest.get(..8)?.parse().ok()
}

/// `AT+DEVEUI=...`, `set appkey ...`: what a command sets, and its digits.
pub(crate) fn setting(line: &str) -> Option<(Setting, String)> {
    let small = line.to_lowercase();
    let command = small.contains("at+") || small.split_whitespace().any(|word| word == "set");
    let end = |name: &str| small.find(name).map(|at| at + name.len());
    let (name, digits, at) = match (end("deveui"), end("appkey")) {
        (Some(at), None) => (Setting::DevEui, 16, at),
        (None, Some(at)) => (Setting::AppKey, 32, at),
        _ => return None,
    };
    let value: String = small
        .get(at..)?
        .trim_start_matches(['=', ' ', ':'])
        .chars()
        .filter(|c| !matches!(c, ':' | '-' | ' '))
        .collect();
    let value = value.trim().to_owned();
    (command && value.len() == digits && value.bytes().all(|c| c.is_ascii_hexdigit()))
        .then_some((name, value))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Vec<Statement> {
        let lines: Vec<(u64, String)> = (1..).zip(text.lines().map(str::to_owned)).collect();
        statements(&lines).into_iter().map(|(_, what, _)| what).collect()
    }

    fn after(text: &str) -> Vec<i64> {
        let windows = read(text).into_iter().filter_map(|what| match what {
            Statement::WindowOpened { after_us, .. } => Some(after_us),
            _ => None,
        });
        windows.collect()
    }

    #[test]
    fn ticks_are_told_by_words_or_by_the_windows_themselves() {
        assert_eq!(
            after("tick is 16 us\n1000 send join\n2000 tx done\n314500 rx 1 opens 868.1 MHz"),
            [5_000_000]
        );
        assert_eq!(after("1000 send join\n2000 tx done\n158250 rx 1 opens 868.1 MHz"), [5_000_000]);
        assert_eq!(after("1000 send join\n2000 tx done\n7000 rx 1 opens 868.1 MHz"), [5_000_000]);
        // Late by any length of a tick: none is told.
        assert_eq!(after("1000 tx done\n9000 rx 1 opens"), [0_i64; 0]);
    }

    #[test]
    fn the_end_of_a_join_is_read() {
        let addr = "02334f63".parse().ok();
        assert_eq!(read("joined\nDevAddr: 02334F63"), [Statement::Joined { dev_addr: addr }]);
        for text in ["join failed", "JOIN: failed", "not joined", "join not successful"] {
            assert_eq!(read(text), [Statement::JoinFailed], "{text}");
        }
        for text in
            ["set joinmode otaa", "DevEUI, 8 bytes", "no answer in RX1, RX2", "is it joined?"]
        {
            assert!(
                !read(text)
                    .iter()
                    .any(|what| matches!(what, Statement::Joined { .. } | Statement::JoinFailed)),
                "{text}"
            );
        }
    }

    #[test]
    fn commands_that_set_are_read_and_their_keys_not_repeated() {
        let line = "AT+APPKEY=8a8da9a195c3ad60fc300f89f2283f59";
        assert_eq!(setting(line).map(|(name, _)| name), Some(Setting::AppKey));
        let said = statements(&[(1, line.to_owned())]);
        assert!(said.iter().all(|(_, _, words)| !words.contains("8a8d")), "{said:?}");
        assert_eq!(
            setting("AT+DEVEUI=e2:ca:36:fe:ff:a7:00:02").map(|(name, _)| name),
            Some(Setting::DevEui)
        );
        assert_eq!(setting("DevEUI: 0200ddfffe5764ce"), None);
        assert_eq!(setting("AT+APPKEY=8a8d"), None);
    }
}
