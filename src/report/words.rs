//! Names and numbers as a report writes them.

use jiff::Timestamp;

use crate::{ladder::Diagnosis, region::Megahertz, trace::Line};

/// Returns the name of a node: that of the roster, or else its DevEUI.
pub(super) fn name(diagnosis: &Diagnosis) -> String {
    match (&diagnosis.name, diagnosis.dev_eui) {
        (Some(name), _) => name.clone(),
        (None, Some(eui)) => eui.to_string(),
        (None, None) => "a node without a name".into(),
    }
}

/// Returns `868.1 MHz`.
pub(super) fn mhz(hz: u32) -> String {
    format!("{} MHz", Megahertz(hz))
}

/// Returns `line 3, 08:00:03Z`.
pub(super) fn place(line: Line, at: Option<Timestamp>) -> String {
    match at {
        Some(at) => format!("{line}, {}", at.strftime("%H:%M:%SZ")),
        None => line.to_string(),
    }
}

/// Returns `+5.000 s`, or to the microsecond where it is no whole millisecond.
pub(super) fn after(us: i64) -> String {
    let sign = if us < 0 { "\u{2212}" } else { "+" };
    let us = us.unsigned_abs();
    let (whole, rest) = (us / 1_000_000, us % 1_000_000);
    if rest % 1_000 == 0 {
        format!("{sign}{whole}.{:03} s", rest / 1_000)
    } else {
        format!("{sign}{whole}.{rest:06} s")
    }
}

/// Returns `+0.201 s`: what the clock of a capture can tell.
pub(super) fn about(us: i64) -> String {
    let sign = if us < 0 { "\u{2212}" } else { "+" };
    let ms = (us.unsigned_abs() + 500) / 1_000;
    format!("{sign}{}.{:03} s", ms / 1_000, ms % 1_000)
}

/// Returns how long something takes: `0.52 s`, `46 ms`.
pub(super) fn lasting(us: i64) -> String {
    let us = us.unsigned_abs();
    if us < 1_000_000 {
        format!("{} ms", (us + 500) / 1_000)
    } else {
        format!("{}.{:02} s", us / 1_000_000, us % 1_000_000 / 10_000)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_say_what_they_can() {
        assert_eq!(after(5_000_000), "+5.000 s");
        assert_eq!(after(5_000_020), "+5.000020 s");
        assert_eq!(after(-61_000), "\u{2212}0.061 s");
        assert_eq!(about(201_717), "+0.202 s");
        assert_eq!(lasting(46_336), "46 ms");
        assert_eq!(lasting(1_482_752), "1.48 s");
    }
}
