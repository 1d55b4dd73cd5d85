//! Rung 7, timely: the accept was scheduled into RX1 or RX2.
//!
//! A node that is not joined knows one place for each window: RX1 5 s after the end of its
//! request, by the region's rule with RX1DROffset 0, and RX2 at 6 s on the region's default. What
//! the network uses for data does not count (RP002-1.0.4, 2.3; LoRaWAN 1.0.4, 6.2.5).

pub(in crate::ladder) mod slots;
pub(in crate::ladder) mod tuned;

use crate::{
    fact::Certainty,
    frame::Direction,
    intake::When,
    ladder::{
        join::{Case, Rung},
        rung::{Judgement, State},
        words::{from_request, mhz, seconds, short_seconds},
    },
    radio::{Modulation, time_on_air},
    region::{Plan, Window},
    trace::{Answer, Attempt, Delay, Sighting},
};

/// A slot this far from a window's is the same: servers and forwarders round.
pub(crate) const SAME_US: u32 = 1_000;
/// Frequencies nearer than this are the same.
pub(crate) const SAME_HZ: u32 = 1_000;

/// Where an accept is aimed, by its delay.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(in crate::ladder) enum Aim {
    /// 5 s.
    Rx1,
    /// 6 s.
    Rx2,
    /// 1 s or 2 s.
    DataWindow(i64),
    /// Another time, in microseconds.
    Elsewhere(i64),
    /// At once; microseconds after the request by the capture's clock.
    AtOnce(Option<i64>),
    /// Not to be told.
    Unknown,
}

pub(in crate::ladder) fn aim(answer: &Answer) -> Aim {
    if let Delay::AtOnce { us } = answer.delay {
        return Aim::AtOnce(us);
    }
    let Some(us) = answer.delay.slot_us() else { return Aim::Unknown };
    let near = |s: i64| us.abs_diff(s * 1_000_000) <= u64::from(SAME_US);
    match us {
        _ if near(5) => Aim::Rx1,
        _ if near(6) => Aim::Rx2,
        _ if near(1) || near(2) => Aim::DataWindow(us),
        us => Aim::Elsewhere(us),
    }
}

/// One thing wrong with where an accept was aimed.
#[derive(Clone, Debug, PartialEq)]
pub(in crate::ladder) enum Miss {
    DataDelay(i64),
    Time(i64),
    AtOnce(Option<i64>),
    Frequency { rx: u8, got: u32, want: u32 },
    Rate { rx: u8, got: Modulation, want: Modulation },
    Polarity,
    Dwell { ms: f64, limit_ms: u16 },
}

impl Miss {
    fn words(&self) -> String {
        match self {
            Self::DataDelay(us) => format!(
                "aimed {} after the request: the delay of data; an accept belongs at 5 s or 6 s",
                seconds(*us)
            ),
            Self::Time(us) => {
                format!("aimed {}; the windows open at 5 s and 6 s", from_request(*us))
            }
            Self::AtOnce(us) => format!(
                "to be sent at once{}; the windows open at 5 s and 6 s",
                us.map(|us| format!(", {} after the request", short_seconds(us)))
                    .unwrap_or_default()
            ),
            Self::Frequency { rx, got, want } => {
                format!("RX{rx} is {}, the accept goes out on {}", mhz(*want), mhz(*got))
            }
            Self::Rate { rx, got, want } => {
                format!("RX{rx} is {want}, the accept goes out at {got}")
            }
            Self::Polarity => {
                "ipol is false: sent like an uplink, so that no node can hear it".to_owned()
            }
            Self::Dwell { ms, limit_ms } => {
                format!("{ms:.1} ms on air, the dwell limit in force is {limit_ms} ms")
            }
        }
    }
}

/// The sighting that an answer counts from, or the strongest one.
pub(in crate::ladder) fn asked_at<'a>(attempt: &'a Attempt, answer: &Answer) -> &'a Sighting {
    let sighting = answer.delay.sighting().and_then(|place| attempt.heard.sighting(place));
    sighting.unwrap_or(attempt.heard.best())
}

/// The two windows of a request: RX1 and RX2.
pub(in crate::ladder) fn windows(plan: &Plan, seen: &Sighting) -> Option<(Option<Window>, Window)> {
    let (hz, modulation) = (seen.freq_hz?, seen.modulation?);
    Some((plan.join_rx1(hz, modulation), plan.join_rx2(hz)))
}

/// Everything wrong with where an answer was aimed.
pub(in crate::ladder) fn misses(case: &Case<'_>, attempt: &Attempt, answer: &Answer) -> Vec<Miss> {
    let mut out = Vec::new();
    let aim = aim(answer);
    match aim {
        Aim::DataWindow(us) => out.push(Miss::DataDelay(us)),
        Aim::Elsewhere(us) => out.push(Miss::Time(us)),
        // A server without slots may send at the very moment; the capture's clock is too coarse
        // to call half a second wrong.
        Aim::AtOnce(us)
            if us.is_none_or(|us| {
                (us - 5_000_000).abs() > 500_000 && (us - 6_000_000).abs() > 500_000
            }) =>
        {
            out.push(Miss::AtOnce(us));
        }
        Aim::AtOnce(_) | Aim::Rx1 | Aim::Rx2 | Aim::Unknown => {}
    }
    let sending = &answer.sending;
    if let Some(plan) = case.plan
        && let Some((rx1, rx2)) = windows(plan, asked_at(attempt, answer))
    {
        let window = match aim {
            Aim::Rx1 => rx1.map(|w| (1, w)),
            Aim::Rx2 => Some((2, rx2)),
            _ => None,
        };
        if let Some((rx, window)) = window {
            if let Some(got) = sending.freq_hz
                && got.abs_diff(window.freq_hz) >= SAME_HZ
            {
                out.push(Miss::Frequency { rx, got, want: window.freq_hz });
            }
            if let Some(got) = sending.modulation
                && got != window.modulation
            {
                out.push(Miss::Rate { rx, got, want: window.modulation });
            }
        }
        if let Some(miss) = over_dwell(case, plan, answer) {
            out.push(miss);
        }
    }
    if sending.inverted == Some(false) {
        out.push(Miss::Polarity);
    }
    out
}

fn over_dwell(case: &Case<'_>, plan: &Plan, answer: &Answer) -> Option<Miss> {
    let limit_ms = plan.dwell.downlink_ms;
    let in_force = case.record().and_then(|r| r.downlink_dwell) == Some(true)
        || case.firmware().and_then(|f| f.downlink_dwell) == Some(true);
    if limit_ms == 0 || !in_force {
        return None;
    }
    let sending = &answer.sending;
    let air = time_on_air(sending.modulation?, sending.octets.len(), Direction::Downlink)?;
    let ms = air.as_secs_f64() * 1e3;
    (ms > f64::from(limit_ms)).then_some(Miss::Dwell { ms, limit_ms })
}

pub(in crate::ladder) fn judge(case: &Case<'_>, index: usize) -> Judgement {
    let Some(attempt) = case.node.attempts.get(index) else { return Judgement::open() };
    if attempt.answers.is_empty() {
        return Judgement::unknown("there is no accept to judge");
    }
    let mut told = None;
    for answer in attempt.answers_sent() {
        let line = answer.sending.line;
        let wrong = misses(case, attempt, answer);
        if !wrong.is_empty() {
            let words: Vec<String> = wrong.iter().map(Miss::words).collect();
            told.get_or_insert(Judgement::broken(format!("{line}: {}", words.join("; "))));
            continue;
        }
        let window = match aim(answer) {
            Aim::Rx1 => "RX1",
            Aim::Rx2 => "RX2",
            _ => {
                let why = match (answer.sending.when, answer.sending.at) {
                    (When::Unsaid, None) => "only the order of the frames is known, and no delay",
                    _ => "the capture does not tie the slot to the request",
                };
                told.get_or_insert(Judgement::unknown(format!("{line}: {why}")));
                continue;
            }
        };
        let delay = answer
            .delay
            .slot_us()
            .map_or(String::new(), |us| format!(", {} after the request", seconds(us)));
        let on = match (answer.sending.freq_hz, answer.sending.modulation) {
            (Some(hz), Some(m)) => format!(", {} {m}", mhz(hz)),
            _ => String::new(),
        };
        if case.plan.is_none() {
            told = Some(Judgement::unknown(format!(
                "{line}: {window} by its delay{delay}{on}; without a region the rest is open"
            )));
            continue;
        }
        let right = format!("{line}: {window}{delay}{on}");
        // Of two ways of one downlink the gateway took one, and the capture does not say which.
        let mut others = attempt.answers_sent().filter(|other| other.is_way_of(answer));
        let astray = others.find_map(|other| misses(case, attempt, other).into_iter().next());
        if let Some(miss) = astray
            && !answer.sending.taken()
        {
            told = Some(Judgement::unknown(format!(
                "{right}, or else {}: which of them was sent the capture does not say",
                miss.words()
            )));
            continue;
        }
        // One good answer is enough: the node listens to both windows.
        return Judgement::proven(right);
    }
    told.unwrap_or(Judgement::unknown("there is no accept to judge"))
}

/// The misses of one kind over all answers of the node, where no answer to that request was good.
fn all<'a, T>(
    case: &Case<'a>,
    pick: impl Fn(&Miss) -> Option<T>,
) -> Vec<(&'a Attempt, &'a Answer, T)> {
    let mut out = Vec::new();
    for (i, attempt, answer) in case.answers() {
        if case.state(i, Rung::Timely) != State::Broken {
            continue;
        }
        if attempt.answers_sent().any(|sent| std::ptr::eq(sent, answer)) {
            let found = misses(case, attempt, answer).iter().find_map(&pick);
            out.extend(found.map(|t| (attempt, answer, t)));
        }
    }
    out
}

fn certainty(n: usize) -> Certainty {
    // The slot is a number in the datagram: one accept is enough to see it.
    if n > 0 { Certainty::Certain } else { Certainty::Possible }
}
