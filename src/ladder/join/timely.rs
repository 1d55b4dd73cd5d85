//! Rung 7, timely: the accept was scheduled into RX1 or RX2.
//!
//! A node that is not joined knows one place for each window: RX1 5 s after the end of its
//! request, by the region's rule with RX1DROffset 0, and RX2 at 6 s on the region's default. What
//! the network uses for data does not count (RP002-1.0.4, 2.3; LoRaWAN 1.0.4, 6.2.5).

use super::{Case, Rung, accepts};
use crate::{
    fact::{Fact, Value, fact},
    frame::Direction,
    intake::When,
    ladder::rung::Judgement,
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
    /// Immediately; microseconds after the request by the capture's clock.
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
    fn fact(&self) -> Fact {
        match self {
            Self::DataDelay(us) => fact!(
                "aimed {delay} after the request: the delay of data; an accept belongs at 5 s or 6 s",
                delay = Value::Micros(*us)
            ),
            Self::Time(us) => {
                fact!("aimed {slot}; the windows open at 5 s and 6 s", slot = from_request(*us))
            }
            Self::AtOnce(None) => {
                Fact::from("to be sent immediately; the windows open at 5 s and 6 s")
            }
            Self::AtOnce(Some(us)) => fact!(
                "to be sent immediately, {delay} after the request; the windows open at 5 s and 6 s",
                delay = Value::About(*us)
            ),
            Self::Frequency { rx, got, want } => fact!(
                "RX{window} is {expected}, the accept goes out on {frequency}",
                window = *rx,
                expected = Value::Frequency(*want),
                frequency = Value::Frequency(*got)
            ),
            Self::Rate { rx, got, want } => fact!(
                "RX{window} is {expected}, the accept goes out at {data_rate}",
                window = *rx,
                expected = *want,
                data_rate = *got
            ),
            Self::Polarity => {
                Fact::from("ipol is false: sent like an uplink, so that no node can hear it")
            }
            Self::Dwell { ms, limit_ms } => fact!(
                "{time_on_air_ms} ms on air, the dwell limit in force is {limit_ms} ms",
                time_on_air_ms = *ms,
                limit_ms = *limit_ms
            ),
        }
    }
}

/// `5.000000 s after the request`, or `before` it.
pub(in crate::ladder) fn from_request(us: i64) -> Fact {
    if us < 0 {
        fact!("{lead} before the request", lead = Value::Micros(us.saturating_neg()))
    } else {
        fact!("{delay} after the request", delay = Value::Micros(us))
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
    accepts::judge(case, index, Rung::Timely, "there is no accept to judge")
}

/// What the rung makes of one accept.
pub(in crate::ladder) fn of(case: &Case<'_>, attempt: &Attempt, answer: &Answer) -> Judgement {
    let accept = || &answer.sending;
    let wrong = misses(case, attempt, answer);
    if !wrong.is_empty() {
        let misses = Fact::joined(wrong.iter().map(Miss::fact).collect(), "; ");
        return Judgement::broken(fact!("{accept}: {misses}", accept = accept(), misses));
    }
    let window = match aim(answer) {
        Aim::Rx1 => "RX1",
        Aim::Rx2 => "RX2",
        _ => {
            let why = match (answer.sending.when, answer.sending.at) {
                (When::Unsaid, None) => "only the order of the frames is known, and no delay",
                _ => "the capture does not tie the slot to the request",
            };
            return Judgement::unknown(fact!("{accept}: {why}", accept = accept(), why));
        }
    };
    let aimed = aimed(answer, window);
    if case.plan.is_none() {
        return Judgement::unknown(fact!(
            "{accept}: {aimed}; the region is not known, so frequency and data rate are open",
            accept = accept(),
            aimed
        ));
    }
    // Of two ways of one downlink the gateway took one, and the capture does not say which.
    let mut others = attempt.answers_sent().filter(|other| other.is_way_of(answer));
    let astray = others.find_map(|other| misses(case, attempt, other).into_iter().next());
    if let Some(miss) = astray
        && !answer.sending.taken()
    {
        return Judgement::unknown(fact!(
            "{accept}: {aimed}, or else {miss}: the capture does not show which of them was sent",
            accept = accept(),
            aimed,
            miss = miss.fact()
        ));
    }
    Judgement::proven(fact!("{accept}: {aimed}", accept = accept(), aimed))
}

/// `RX1, 5.000000 s after the request, 868.1 MHz SF9BW125`.
fn aimed(answer: &Answer, window: &'static str) -> Fact {
    let mut parts = vec![Fact::from(window)];
    parts.extend(answer.delay.slot_us().map(from_request));
    if let (Some(hz), Some(data_rate)) = (answer.sending.freq_hz, answer.sending.modulation) {
        let frequency = Value::Frequency(hz);
        parts.push(fact!("{frequency} {data_rate}", frequency, data_rate));
    }
    Fact::joined(parts, ", ")
}
