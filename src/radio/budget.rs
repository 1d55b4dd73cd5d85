//! What a time on air costs: demodulation floor and margin, duty cycle, dwell, join back-off.

use std::{fmt, str::FromStr, time::Duration};

/// Returns the lowest SNR in dB at which a spreading factor is still read; 6 to 12 are known.
pub fn demodulation_floor(sf: u8) -> Option<f32> {
    match sf {
        6 => Some(-5.0),
        7 => Some(-7.5),
        8 => Some(-10.0),
        9 => Some(-12.5),
        10 => Some(-15.0),
        11 => Some(-17.5),
        12 => Some(-20.0),
        _ => None,
    }
}

/// Returns by how many dB an SNR lies above the demodulation floor, as LinkCheckAns reports it.
pub fn link_margin(snr: f32, sf: u8) -> Option<f32> {
    demodulation_floor(sf).map(|floor| snr - floor)
}

/// The share of time that a transmitter may be on the air: in thousandths, 1 to 1000.
#[derive(Clone, Copy, Debug, Eq, Hash, Ord, PartialEq, PartialOrd)]
pub struct DutyCycle(u16);

/// A text that names no duty cycle.
#[derive(Clone, Copy, Debug, Eq, PartialEq, thiserror::Error)]
#[error("no duty cycle such as 1% or 0.1%, from 0.1% to 100%")]
pub struct NoDutyCycle;

impl DutyCycle {
    /// Returns the duty cycle of that many thousandths, if they are 1 to 1000.
    pub const fn new(per_mille: u16) -> Option<Self> {
        if matches!(per_mille, 1..=1000) { Some(Self(per_mille)) } else { None }
    }

    /// Returns the thousandths.
    pub const fn per_mille(self) -> u16 {
        self.0
    }
}

impl fmt::Display for DutyCycle {
    /// Prints `0.1%`, `1%`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match (self.0 / 10, self.0 % 10) {
            (whole, 0) => write!(f, "{whole}%"),
            (whole, tenth) => write!(f, "{whole}.{tenth}%"),
        }
    }
}

impl FromStr for DutyCycle {
    type Err = NoDutyCycle;

    fn from_str(text: &str) -> Result<Self, NoDutyCycle> {
        let text = text.strip_suffix('%').unwrap_or(text).trim_end();
        let (whole, tenth) = text.split_once('.').unwrap_or((text, "0"));
        let digits = |t: &str| !t.is_empty() && t.bytes().all(|b| b.is_ascii_digit());
        if !digits(whole) || !digits(tenth) || tenth.len() != 1 {
            return Err(NoDutyCycle);
        }
        let whole: u16 = whole.parse().map_err(|_| NoDutyCycle)?;
        let tenth: u16 = tenth.parse().map_err(|_| NoDutyCycle)?;
        whole.checked_mul(10).and_then(|w| Self::new(w + tenth)).ok_or(NoDutyCycle)
    }
}

/// Returns how long a transmitter must be silent after a transmission: airtime (1 / duty - 1).
pub fn duty_cycle_wait(airtime: Duration, duty: DutyCycle) -> Duration {
    let silent = u32::from(1000 - duty.0);
    airtime.saturating_mul(silent) / u32::from(duty.0)
}

/// Returns how many transmissions of that time on air fit an hour. None for a time of 0.
pub fn messages_per_hour(airtime: Duration, duty: DutyCycle) -> Option<u64> {
    let allowed = Duration::from_secs(3600) * u32::from(duty.0) / 1000;
    u64::try_from(allowed.as_nanos().checked_div(airtime.as_nanos())?).ok()
}

/// The longest transmission where a region limits dwell time.
pub const DWELL_LIMIT: Duration = Duration::from_millis(400);

/// How long a node's Join-Requests may be on the air in all, in a span since it was switched on.
///
/// LoRaWAN's back-off of requests that nobody answers, counted over all channels. It comes on top of a
/// region's duty cycle and holds where there is none.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct JoinBackOff {
    /// Start of the span.
    pub from: Duration,
    /// End of the span; none for the last, which goes on for ever.
    pub to: Option<Duration>,
    /// Time on air allowed in the span; in the last one in every 24 hours.
    pub airtime: Duration,
}

/// The spans of the join back-off: the first hour, the next ten, and every day after.
pub static JOIN_BACK_OFF: [JoinBackOff; 3] = [
    JoinBackOff {
        from: Duration::ZERO,
        to: Some(Duration::from_secs(3600)),
        airtime: Duration::from_secs(36),
    },
    JoinBackOff {
        from: Duration::from_secs(3600),
        to: Some(Duration::from_secs(11 * 3600)),
        airtime: Duration::from_secs(36),
    },
    JoinBackOff {
        from: Duration::from_secs(11 * 3600),
        to: None,
        airtime: Duration::from_millis(8700),
    },
];

/// Returns the span that a node is in so long after it was switched on.
pub fn join_back_off(since: Duration) -> JoinBackOff {
    let [first, second, last] = JOIN_BACK_OFF;
    [first, second].into_iter().find(|span| span.to.is_some_and(|to| since < to)).unwrap_or(last)
}

impl JoinBackOff {
    /// Returns how many requests of that time on air fit the span (the last one: a day).
    pub fn requests(&self, airtime: Duration) -> Option<u64> {
        u64::try_from(self.airtime.as_nanos().checked_div(airtime.as_nanos())?).ok()
    }
}
