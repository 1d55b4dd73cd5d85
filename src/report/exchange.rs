//! An attempt to join on one scale of time: zero is the end of the request.
//!
//! The slot is by the gateway's counter, and so is the end of the request; when a datagram came is
//! by the capture's clock, counted from the arrival of the request's.

use super::{Subject, words};
use crate::{
    frame::Direction,
    intake::TxError,
    ladder::{SAME_HZ, SAME_US},
    radio::{Modulation, time_on_air},
    region::{Plan, Window},
    trace::{Answer, Attempt, Delay, Sighting},
};

/// An attempt, ready to be drawn.
#[derive(Debug)]
pub(crate) struct Exchange {
    pub(crate) title: String,
    /// Whether the ladder tells of this one.
    pub(crate) told: bool,
    /// What the scale covers, in microseconds.
    pub(crate) scale: (i64, i64),
    pub(crate) windows: Vec<(i64, i64)>,
    pub(crate) bars: Vec<Bar>,
    /// What holds for the whole.
    pub(crate) notes: Vec<String>,
}

/// Something that happened, or was to happen.
#[derive(Debug)]
pub(crate) struct Bar {
    pub(crate) label: String,
    pub(crate) detail: String,
    pub(crate) shape: Shape,
    pub(crate) from: i64,
    pub(crate) to: i64,
    pub(crate) fit: Fit,
    /// What fell outside, and by how much.
    pub(crate) wrong: Vec<String>,
}

/// How a bar is drawn.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(crate) enum Shape {
    /// Something on the air.
    Air,
    /// A receive window.
    Window,
    /// A moment.
    Moment,
}

/// Whether something is where it belongs.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(crate) enum Fit {
    Plain,
    Inside,
    Outside,
    /// Never sent, wherever it was aimed.
    Unsent,
}

impl Fit {
    /// Returns it in a word, nothing where there is nothing to say.
    pub(crate) const fn words(self) -> &'static str {
        match self {
            Self::Plain => "",
            Self::Inside => "fits",
            Self::Outside => "outside",
            Self::Unsent => "not sent",
        }
    }
}

/// Returns the attempts worth drawing, in order, and how many are left out.
pub(super) fn all(subject: Subject<'_>) -> (Vec<Exchange>, usize) {
    let attempts = &subject.node.attempts;
    let told = subject.diagnosis.told;
    // The one that the ladder tells of, then those that were answered, the last first. A request
    // without an answer looks like any other.
    let answered = |i: &usize| attempts.get(*i).is_some_and(|a| !a.answers.is_empty());
    let mut places: Vec<usize> =
        (0..attempts.len()).filter(|i| Some(*i) == told || answered(i)).collect();
    places.sort_by_key(|i| (Some(*i) != told, !answered(i), std::cmp::Reverse(*i)));
    places.truncate(MOST);
    places.sort_unstable();
    let drawn = places.iter().filter_map(|i| {
        let mut exchange = of(attempts.get(*i)?, subject.diagnosis.plan);
        exchange.told = Some(*i) == told && attempts.len() > 1;
        Some(exchange)
    });
    let drawn: Vec<Exchange> = drawn.collect();
    let more = attempts.total().saturating_sub(drawn.len());
    (drawn, more)
}

fn of(attempt: &Attempt, plan: Option<&'static Plan>) -> Exchange {
    let seen = attempt.answers.first().map_or(attempt.heard.best(), |a| asked_at(attempt, a));
    let windows = windows(plan, seen);
    let mut bars = vec![request(attempt, seen)];
    for answer in &attempt.answers {
        bars.extend(answered(attempt, answer, &windows));
    }
    // Windows stand above what is to hit them.
    for (i, window) in windows.iter().enumerate() {
        bars.insert(1 + i, window_bar(window));
    }
    let mut notes = Vec::new();
    if attempt.answers.is_empty() {
        notes.push("No Join-Accept for this request was handed to a gateway.".into());
    }
    if windows.is_empty() {
        notes.push("Without a region the place of the windows on the dial is not known.".into());
    }
    let end = bars.iter().filter(|b| b.from < FARTHEST_US).map(|b| b.to.min(FARTHEST_US)).max();
    let start = bars.iter().map(|b| b.from).min().unwrap_or_default();
    Exchange {
        title: format!("Request of {}", words::place(attempt.line(), attempt.heard.at())),
        told: false,
        scale: (
            start.clamp(-3_000_000, 0) - 150_000,
            end.unwrap_or_default().max(LEAST_US) + 300_000,
        ),
        windows: windows.iter().map(|w| (w.opens, w.closes)).collect(),
        bars,
        notes,
    }
}

/// The sighting that an answer counts from, or the strongest one.
fn asked_at<'a>(attempt: &'a Attempt, answer: &Answer) -> &'a Sighting {
    let sighting = answer.delay.sighting().and_then(|place| attempt.heard.sighting(place));
    sighting.unwrap_or(attempt.heard.best())
}

/// A window of the node: when, and where on the dial if the region tells.
struct Opening {
    name: &'static str,
    opens: i64,
    closes: i64,
    window: Window,
}

fn windows(plan: Option<&'static Plan>, seen: &Sighting) -> Vec<Opening> {
    let (Some(plan), Some(hz), Some(modulation)) = (plan, seen.freq_hz, seen.modulation) else {
        return Vec::new();
    };
    let rx1 = plan.join_rx1(hz, modulation).map(|window| ("RX1", 5_000_000, window));
    let rx2 = ("RX2", 6_000_000, plan.join_rx2(hz));
    rx1.into_iter()
        .chain([rx2])
        .map(|(name, opens, window)| {
            let lasts = air_us(Some(window.modulation), ACCEPT_OCTETS, Direction::Downlink);
            Opening { name, opens, closes: opens + lasts, window }
        })
        .collect()
}

fn window_bar(window: &Opening) -> Bar {
    let Window { freq_hz, modulation, .. } = window.window;
    Bar {
        label: window.name.into(),
        detail: format!(
            "opens {}, {} {modulation}",
            words::after(window.opens),
            words::mhz(freq_hz)
        ),
        shape: Shape::Window,
        from: window.opens,
        to: window.closes,
        fit: Fit::Plain,
        wrong: Vec::new(),
    }
}

fn request(attempt: &Attempt, seen: &Sighting) -> Bar {
    let octets = attempt.heard.octets.len();
    let air = air_us(seen.modulation, octets, Direction::Uplink);
    let on = on(seen.freq_hz, seen.modulation);
    let lasting = if air == 0 { "time on air unknown".into() } else { words::lasting(air) };
    Bar {
        label: "Request on the air".into(),
        detail: [lasting, on].into_iter().filter(|s| !s.is_empty()).collect::<Vec<_>>().join(", "),
        shape: Shape::Air,
        from: -air,
        to: 0,
        fit: Fit::Plain,
        wrong: Vec::new(),
    }
}

/// The arrival of an accept, its slot, and what the gateway said.
fn answered(attempt: &Attempt, answer: &Answer, windows: &[Opening]) -> Vec<Bar> {
    let sending = &answer.sending;
    let seen = asked_at(attempt, answer);
    let arrival = sending.arrival_after(seen);
    let slot = match answer.delay {
        Delay::AtOnce { us } => us,
        told => told.slot_us(),
    };
    let mut bars = Vec::new();
    if let Some(us) = arrival {
        let late = answer.delay.slot_us().filter(|slot| us > *slot);
        let wrong = late.map(|slot| format!("{} after its slot", words::lasting(us - slot)));
        bars.push(Bar {
            label: "Accept reaches the gateway".into(),
            detail: words::about(us),
            shape: Shape::Moment,
            from: us,
            to: us,
            fit: if wrong.is_some() { Fit::Outside } else { Fit::Plain },
            wrong: wrong.into_iter().collect(),
        });
    }
    if let Some(ack) = &sending.ack {
        let us = ack.at.zip(seen.at).map(|(a, b)| a.as_microsecond() - b.as_microsecond());
        let refused = ack.error != TxError::None;
        let place = us.or(arrival).unwrap_or_default();
        bars.push(Bar {
            label: "Gateway acknowledges".into(),
            detail: us.map(words::about).unwrap_or_default(),
            shape: Shape::Moment,
            from: place,
            to: place,
            fit: if refused { Fit::Outside } else { Fit::Plain },
            wrong: refused.then(|| format!("refused: {}", ack.error.name())).into_iter().collect(),
        });
    }
    bars.extend(slot.map(|slot| slot_bar(answer, slot, windows)));
    bars
}

fn slot_bar(answer: &Answer, slot: i64, windows: &[Opening]) -> Bar {
    let sending = &answer.sending;
    let air = air_us(sending.modulation, sending.octets.len(), Direction::Downlink);
    let at_once = matches!(answer.delay, Delay::AtOnce { .. });
    let wrong = misses(answer, slot, windows);
    let fit = match (windows.is_empty(), wrong.is_empty()) {
        _ if sending.refusal().is_some() => Fit::Unsent,
        (_, false) => Fit::Outside,
        (true, true) => Fit::Plain,
        (false, true) => Fit::Inside,
    };
    Bar {
        label: match (fit, at_once) {
            (Fit::Unsent, _) => "Accept, not sent",
            (_, true) => "Accept, sent immediately",
            (_, false) => "Accept on the air",
        }
        .into(),
        detail: format!("{}, {}", words::after(slot), on(sending.freq_hz, sending.modulation)),
        shape: Shape::Air,
        from: slot,
        to: slot.saturating_add(air),
        fit,
        wrong,
    }
}

/// What of an accept falls outside the window that it is aimed at.
fn misses(answer: &Answer, slot: i64, windows: &[Opening]) -> Vec<String> {
    let sending = &answer.sending;
    let mut out = Vec::new();
    // By the capture's clock a window is hit as well as it can tell.
    let slack = match answer.delay {
        Delay::AtOnce { .. } => 500_000,
        _ => i64::from(SAME_US),
    };
    let aimed = windows.iter().find(|w| (w.opens - slot).abs() <= slack);
    match aimed {
        None if windows.is_empty() => {}
        None => {
            let nearest = windows.iter().min_by_key(|w| (w.opens - slot).abs());
            out.extend(nearest.map(|w| {
                let side = if slot < w.opens { "before" } else { "after" };
                format!("{} {side} {}", words::lasting(w.opens - slot), w.name)
            }));
        }
        Some(Opening { name, window, .. }) => {
            if let Some(got) = sending.freq_hz
                && got.abs_diff(window.freq_hz) >= SAME_HZ
            {
                let (got, want) = (words::mhz(got), words::mhz(window.freq_hz));
                out.push(format!("on {got}, {name} is on {want}"));
            }
            if let Some(got) = sending.modulation
                && got != window.modulation
            {
                out.push(format!("at {got}, {name} is at {}", window.modulation));
            }
        }
    }
    if sending.inverted == Some(false) {
        out.push("chirps not inverted, so that no node hears it".into());
    }
    out
}

pub(super) fn on(freq_hz: Option<u32>, modulation: Option<Modulation>) -> String {
    let parts = [freq_hz.map(words::mhz), modulation.map(|m| m.to_string())];
    parts.into_iter().flatten().collect::<Vec<_>>().join(" ")
}

/// Time on air in microseconds, 0 where it is not known.
fn air_us(modulation: Option<Modulation>, octets: usize, way: Direction) -> i64 {
    modulation
        .and_then(|m| time_on_air(m, octets, way))
        .and_then(|air| i64::try_from(air.as_micros()).ok())
        .unwrap_or_default()
}

/// Octets of a Join-Accept with a CFList: what a window may have to take.
const ACCEPT_OCTETS: usize = 33;
/// Attempts that are drawn.
const MOST: usize = 3;
/// The scale ends no sooner: RX2 is in it.
const LEAST_US: i64 = 7_200_000;
/// The scale ends no later: a slot that is far ahead is told and not drawn.
const FARTHEST_US: i64 = 15_000_000;
