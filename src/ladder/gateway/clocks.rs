//! A gateway's clocks: what its statistics and its counter say, against the capture.

use jiff::{SignedDuration, Timestamp};

use crate::{
    fact::{Cite, Fact, Value, fact},
    ladder::finding::Finding,
    trace::{GatewayTrace, Moment, Restart},
};

/// Statistics have whole seconds, and come with some delay: within this they agree.
const AGREES_US: i64 = 3_000_000;
/// So far in the past no clock of today is: it was never set.
const NOT_SET_US: i64 = 86_400_000_000;
/// Time zones are apart by whole quarters of an hour, from one hour to 14.
const QUARTER_US: i64 = 900_000_000;
const HOUR_US: i64 = 3_600_000_000;
const MOST_HOURS: i64 = 14;
/// Reports that a line is drawn through.
const LEAST_REPORTS: u64 = 3;
/// How far from that line a report may be: whole seconds.
const OFF_THE_LINE_US: f64 = 1_600_000.0;
/// A round trip above this leaves no time for RX1 at 1 s: servers collect copies for some 0.2 s more.
pub(super) const SLOW_US: i64 = 700_000;
/// Late downlinks by which a line is slow: one may be an accident.
const LEAST_LATE: usize = 2;
/// RX1 of data at its shortest delay, give or take.
const ONE_SECOND: std::ops::RangeInclusive<u32> = 900_000..=1_100_000;

/// What is wrong with a gateway's clocks.
#[derive(Clone, Debug)]
pub(in crate::ladder) enum ClockFault {
    /// The statistics' time is years away, and runs.
    NotSet(Apart),
    /// It is apart by a time zone.
    LocalTime(Apart),
    /// It runs faster or slower.
    Drifts(Apart),
    /// It is apart by something else.
    Off(Apart),
    /// The radio's counter began again.
    Restarted(Vec<Restart>),
    /// The way to the server and back is longer than the windows allow.
    Slow(Slow),
}

/// How the statistics' time differs from the capture's.
#[derive(Clone, Copy, Debug)]
pub(in crate::ladder) struct Apart {
    /// A report.
    pub(in crate::ladder) at: Moment,
    /// The time in it.
    pub(in crate::ladder) told: Timestamp,
    /// By how much the first and the last report are ahead, microseconds.
    pub(in crate::ladder) ahead: (i64, i64),
    /// How many reports there are.
    pub(in crate::ladder) reports: u64,
}

impl Apart {
    /// Adds what the reports say, and what that means for joins.
    pub(in crate::ladder) fn tell(&self, finding: &mut Finding) {
        finding.add(fact!(
            "{report}: the statistics say {told}",
            report = self.at,
            told = self.told
        ));
        finding.add(fact!(
            "{reports}, {first} the capture's clock at first, {last} it at last",
            reports = Value::Count(self.reports, "report"),
            first = Value::Apart(self.ahead.0),
            last = Value::Apart(self.ahead.1)
        ));
        finding
            .add("joins and class A need the radio's counter alone: this clock stops none of them");
    }
}

/// A line that is too slow.
#[derive(Clone, Copy, Debug)]
pub(in crate::ladder) struct Slow {
    /// The round trip in the middle.
    pub(in crate::ladder) round_trip_us: i64,
    /// Downlinks for a slot at 1 s, all of which came late, and by how much at the least.
    pub(in crate::ladder) late: usize,
    pub(in crate::ladder) late_us: i64,
    /// Downlinks for later slots that came in time.
    pub(in crate::ladder) in_time: usize,
}

pub(super) fn faults(heard: &GatewayTrace) -> Vec<ClockFault> {
    let mut out = Vec::new();
    out.extend(statistics(heard));
    let restarts: Vec<Restart> = restarts(heard);
    // Two radios under one EUI are no restart.
    if !restarts.is_empty() && heard.radios.returns == 0 {
        out.push(ClockFault::Restarted(restarts));
    }
    out.extend(slow(heard).map(ClockFault::Slow));
    out
}

/// Falls of the counter after which it is as high as the time since the last frame, at the most: it began again
/// in between.
fn restarts(heard: &GatewayTrace) -> Vec<Restart> {
    let again = |restart: &&Restart| {
        restart.counts.is_some_and(|(before, after, passed)| {
            let within_a_wrap = (0..1_i64 << 32).contains(&passed);
            within_a_wrap && after < before && i64::from(after) <= passed + AGREES_US
        })
    };
    heard.restarts.iter().filter(again).copied().collect()
}

/// The statistics' time against the capture's.
fn statistics(heard: &GatewayTrace) -> Option<ClockFault> {
    let (low, high) = heard.clock.range?;
    if low >= -AGREES_US && high <= AGREES_US {
        return None;
    }
    let reports = heard.clock.ahead.total();
    let all: Vec<(Moment, i64)> = heard.clock.ahead.iter().copied().collect();
    let (&(at, first), &(_, last)) = (all.first()?, all.last()?);
    let told = at.at?.checked_add(SignedDuration::from_micros(first)).ok()?;
    let apart = Apart { at, told, ahead: (first, last), reports };
    let steady = high - low <= AGREES_US;
    if !steady {
        if reports >= LEAST_REPORTS && is_on_a_line(&all) {
            return Some(ClockFault::Drifts(apart));
        }
        // It was set in between: what it shows at the end counts.
        let settled = all.iter().rev().take(3).all(|(_, ahead)| ahead.abs() <= AGREES_US);
        return (!settled).then_some(ClockFault::Off(apart));
    }
    let middle = low + (high - low) / 2;
    let quarters = (middle + QUARTER_US / 2).div_euclid(QUARTER_US) * QUARTER_US;
    let zone = (HOUR_US..=MOST_HOURS * HOUR_US).contains(&quarters.abs());
    Some(match () {
        () if middle < -NOT_SET_US => ClockFault::NotSet(apart),
        () if zone && (middle - quarters).abs() <= AGREES_US => ClockFault::LocalTime(apart),
        () => ClockFault::Off(apart),
    })
}

/// Whether the differences grow or fall on a straight line.
#[expect(clippy::cast_precision_loss, reason = "microseconds of a capture are far below 2^53")]
fn is_on_a_line(all: &[(Moment, i64)]) -> bool {
    let Some(from) = all.first().and_then(|(moment, _)| moment.us()) else { return false };
    let points: Vec<(f64, f64)> = all
        .iter()
        .filter_map(|(moment, ahead)| Some(((moment.us()? - from) as f64, *ahead as f64)))
        .collect();
    let n = points.len() as f64;
    let (sx, sy) = points.iter().fold((0.0, 0.0), |(sx, sy), (x, y)| (sx + x, sy + y));
    let (mx, my) = (sx / n, sy / n);
    let (xx, xy) = points.iter().fold((0.0, 0.0), |(xx, xy), (x, y)| {
        let dx = x - mx;
        (xx + dx * dx, xy + dx * (y - my))
    });
    if xx <= 0.0 {
        return false;
    }
    let slope = xy / xx;
    points.iter().all(|(x, y)| (my + slope * (x - mx) - y).abs() <= OFF_THE_LINE_US)
}

/// The round trip to the server in the middle, microseconds.
pub(super) fn round_trip(heard: &GatewayTrace) -> Option<i64> {
    heard.push.delays.median().or_else(|| heard.pull.delays.median())
}

fn slow(heard: &GatewayTrace) -> Option<Slow> {
    let round_trip_us = round_trip(heard).filter(|us| *us >= SLOW_US)?;
    let (soon, later): (Vec<_>, Vec<_>) =
        heard.orders.slots.iter().partition(|(us, ..)| ONE_SECOND.contains(us));
    let late_us = soon.iter().map(|(_, late, _)| *late).min()?;
    let missed = soon.iter().all(|(_, late, taken)| *late > 0 && !taken);
    let in_time = later.iter().filter(|(_, late, _)| *late < 0).count();
    let found = soon.len() >= LEAST_LATE && missed && in_time == later.len();
    found.then_some(Slow { round_trip_us, late: soon.len(), late_us, in_time })
}

impl ClockFault {
    pub(super) fn fact(&self) -> Fact {
        match self {
            Self::NotSet(apart) => fact!(
                "{report}: its statistics say {told}, and run on from there",
                report = apart.at,
                told = apart.told
            ),
            Self::LocalTime(apart) | Self::Off(apart) => fact!(
                "{report}: its statistics' time is {apart} the capture's",
                report = apart.at,
                apart = Value::Apart(apart.ahead.1)
            ),
            Self::Drifts(apart) => fact!(
                "its statistics' time is {first} the capture's at first, {last} it at last",
                first = Value::Apart(apart.ahead.0),
                last = Value::Apart(apart.ahead.1);
                at: Cite::from(apart.at)
            ),
            Self::Restarted(restarts) => match restarts.first() {
                Some(restart) => fact!(
                    "its counter began again before {first}, {times} in all",
                    first = Moment { line: restart.after, at: restart.at },
                    times = Value::Count(restarts.len() as u64, "time")
                ),
                None => "its counter began again".into(),
            },
            Self::Slow(slow) => fact!(
                "the way to the server and back takes {round_trip}; {downlinks} for a slot at 1 s came late",
                round_trip = Value::About(slow.round_trip_us),
                downlinks = Value::Count(slow.late as u64, "downlink")
            ),
        }
    }
}
