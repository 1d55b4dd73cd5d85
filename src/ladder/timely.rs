//! Rung 7, timely: the accept was scheduled into RX1 or RX2.
//!
//! A node that is not joined knows one place for each window: RX1 5 s after the end of its
//! request, by the region's rule with RX1DROffset 0, and RX2 at 6 s on the region's default. What
//! the network uses for data does not count (RP002-1.0.4, 2.3; LoRaWAN 1.0.4, 6.2.5).

use super::{
    Judgement, Rung, State,
    case::Case,
    cause::{Certainty, Finding},
    words::{count, from_request, mhz, place, seconds, short_seconds},
};
use crate::{
    frame::Direction,
    gps::GpsTime,
    intake::{TxError, When},
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
pub(super) enum Aim {
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

pub(super) fn aim(answer: &Answer) -> Aim {
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
pub(super) enum Miss {
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
pub(super) fn asked_at<'a>(attempt: &'a Attempt, answer: &Answer) -> &'a Sighting {
    let sighting = answer.delay.sighting().and_then(|place| attempt.heard.sighting(place));
    sighting.unwrap_or(attempt.heard.best())
}

/// The two windows of a request: RX1 and RX2.
pub(super) fn windows(plan: &Plan, seen: &Sighting) -> Option<(Option<Window>, Window)> {
    let (hz, modulation) = (seen.freq_hz?, seen.modulation?);
    Some((plan.join_rx1(hz, modulation), plan.join_rx2(hz)))
}

/// Everything wrong with where an answer was aimed.
pub(super) fn misses(case: &Case<'_>, attempt: &Attempt, answer: &Answer) -> Vec<Miss> {
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

pub(super) fn judge(case: &Case<'_>, attempt: &Attempt) -> Judgement {
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

pub(super) fn at_the_data_delay(case: &Case<'_>) -> Option<Finding> {
    let late = all(case, |m| if let Miss::DataDelay(us) = m { Some(*us) } else { None });
    let (_, first, us) = late.first()?;
    let mut finding = Finding::new(
        certainty(late.len()),
        format!(
            "the accept is aimed {} after the request, the delay of data; a Join-Accept belongs at \
             5 s (RX1) or 6 s (RX2)",
            seconds(*us)
        ),
        "have the server use JOIN_ACCEPT_DELAY1 = 5 s for Join-Accepts; RxDelay and \
         RECEIVE_DELAY1 are for data only",
    );
    for (attempt, answer, us) in late.iter().take(4) {
        finding.add(format!(
            "{}: slot less end of request ({}) = {us} us",
            answer.sending.line,
            attempt.line()
        ));
    }
    if let Some(error) = first.sending.refusal() {
        let arrival = late
            .iter()
            .filter_map(|(a, answer, _)| answer.sending.arrival_after(asked_at(a, answer)))
            .min();
        let words = arrival.map_or(String::new(), |us| {
            format!(
                "; the datagram came {} after the request, when that slot was {}, and the right \
                 one still ahead",
                short_seconds(us),
                if us > late.first().map_or(0, |l| l.2) { "past" } else { "near" }
            )
        });
        finding.add(format!("the gateway refuses it with {}{words}", error.name()));
    }
    Some(finding)
}

pub(super) fn at_another_time(case: &Case<'_>) -> Option<Finding> {
    let stray = all(case, |m| match m {
        Miss::Time(us) => Some(Some(*us)),
        Miss::AtOnce(us) => Some(*us),
        _ => None,
    });
    let (_, first, us) = stray.first()?;
    // A slot of a counter that is gone, or far ahead, has causes of its own.
    if super::sent::explains(case, first) {
        return None;
    }
    let when = us.map_or("at once".to_owned(), from_request);
    let same = stray.iter().all(|s| s.2 == *us);
    let mut finding = Finding::new(
        if us.is_some() { Certainty::Certain } else { Certainty::Likely },
        format!("the accept is aimed {when}; the node listens at 5 s and at 6 s"),
        "have the server schedule Join-Accepts 5 s (RX1) or 6 s (RX2) after the end of the request, \
         by the gateway's counter",
    );
    for (attempt, answer, us) in stray.iter().take(4) {
        let us = us.map_or("at once".to_owned(), seconds);
        finding.add(format!("{}: {us} after {}", answer.sending.line, attempt.line()));
    }
    if let Some(words) = us.and_then(|us| leap_seconds(first, us)) {
        finding.add(words);
    }
    if same && stray.len() > 1 {
        finding.add("the same every time: a setting, not a delay on the way".to_owned());
    }
    Some(finding)
}

/// What explains a slot by GPS time that misses a window by the leap seconds, or by one of them.
fn leap_seconds(answer: &Answer, us: i64) -> Option<String> {
    let (When::Gps(ms), Delay::Gps { .. }) = (answer.sending.when, answer.delay) else {
        return None;
    };
    let leap = GpsTime::from_seconds(u32::try_from(ms / 1_000).ok()?).leap_seconds();
    [5, 6].into_iter().find_map(|window| {
        let off = us - window * 1_000_000;
        let near = |seconds: i64| off.abs_diff(seconds * 1_000_000) <= u64::from(SAME_US);
        let side = if off < 0 { "before" } else { "after" };
        if near(leap) || near(-leap) {
            Some(format!(
                "{leap} s {side} RX{}: the leap seconds between GPS time and UTC, which were \
                 forgotten or taken twice",
                window - 4
            ))
        } else if near(1) || near(-1) {
            Some(format!("1 s {side} RX{}: perhaps a leap second too many or too few", window - 4))
        } else {
            None
        }
    })
}

/// The AS923 group, other than the plan, whose window an accept's frequency is.
fn other_group(plan: &Plan, attempt: &Attempt, answer: &Answer) -> Option<(&'static Plan, i64)> {
    if !plan.name.starts_with("AS923") {
        return None;
    }
    let got = i64::from(answer.sending.freq_hz?);
    let own_rx2 = i64::from(plan.rx2().freq_hz);
    let asked = i64::from(asked_at(attempt, answer).freq_hz?);
    Plan::all().iter().copied().filter(|p| p.name.starts_with("AS923")).find_map(|other| {
        let offset = i64::from(other.rx2().freq_hz) - own_rx2;
        let fits = |hz: i64| (got - hz - offset).abs() < i64::from(SAME_HZ);
        (offset != 0
            && match aim(answer) {
                Aim::Rx1 => fits(asked),
                Aim::Rx2 => fits(own_rx2),
                _ => false,
            })
        .then_some((other, offset))
    })
}

fn frequency_misses<'a>(case: &Case<'a>, rx: u8) -> Vec<(&'a Attempt, &'a Answer, (u32, u32))> {
    all(case, |m| match m {
        Miss::Frequency { rx: of, got, want } if *of == rx => Some((*got, *want)),
        _ => None,
    })
}

pub(super) fn another_group(case: &Case<'_>) -> Option<Finding> {
    let plan = case.plan?;
    let mut wrong = frequency_misses(case, 1);
    wrong.extend(frequency_misses(case, 2));
    let (attempt, answer, (got, _)) = wrong.first()?;
    let (group, offset) = other_group(plan, attempt, answer)?;
    let same = wrong
        .iter()
        .all(|(a, x, _)| other_group(plan, a, x).is_some_and(|(g, _)| g.name == group.name));
    if !same {
        return None;
    }
    let mut finding = Finding::new(
        Certainty::Certain,
        format!(
            "the accept goes out on {}, {:+.1} MHz from where {} wants it: the server follows {}",
            mhz(*got),
            f64::from(i32::try_from(offset).unwrap_or_default()) / 1e6,
            plan.name,
            group.name
        ),
        format!("set the server's region to {}, as node and gateway have it", plan.name),
    );
    for (_, answer, (got, want)) in wrong.iter().take(4) {
        finding.add(format!("{}: {} instead of {}", answer.sending.line, mhz(*got), mhz(*want)));
    }
    Some(finding)
}

pub(super) fn cannot_send(case: &Case<'_>) -> Option<Finding> {
    let plan = case.plan?;
    let mut wrong = frequency_misses(case, 1);
    wrong.extend(frequency_misses(case, 2));
    wrong.retain(|(_, answer, (got, _))| {
        answer.sending.refusal() == Some(&TxError::TxFreq)
            || (!plan.in_band(*got) && !answer.sending.taken())
            || super::sent::out_of_range(case, &answer.sending).is_some()
    });
    let (_, first, (got, want)) = wrong.first()?;
    let barred = super::sent::out_of_range(case, &first.sending);
    let refused = first.sending.refusal() == Some(&TxError::TxFreq) || barred.is_some();
    let mut finding = Finding::new(
        if refused { Certainty::Certain } else { Certainty::Likely },
        format!(
            "the accept is to go out on {}, which the gateway cannot send; the window is on {}",
            mhz(*got),
            mhz(*want)
        ),
        format!("correct the server's setting for this window to {}", mhz(*want)),
    );
    for (_, answer, (got, _)) in wrong.iter().take(4) {
        let said = answer.sending.refusal().map_or("no word from the gateway", |e| e.name());
        finding.add(format!("{}: {}: {said}", answer.sending.line, mhz(*got)));
    }
    if let Some(words) = barred {
        finding.add(words);
    }
    if let Some(hz) = case.record().and_then(|r| r.rx2_frequency) {
        finding.add(format!("the record's rx2-frequency is {}", mhz(hz)));
    }
    Some(finding)
}

fn wrong_frequency(case: &Case<'_>, rx: u8) -> Option<Finding> {
    let plan = case.plan?;
    if another_group(case).is_some() || cannot_send(case).is_some() {
        return None;
    }
    let wrong = frequency_misses(case, rx);
    let (attempt, answer, (got, want)) = *wrong.first()?;
    let seen = asked_at(attempt, answer);
    let channel = seen
        .freq_hz
        .and_then(|hz| plan.nearest_uplink(hz, bandwidth(seen.modulation)))
        .map(|hit| format!("uplink channel {}", hit.channel))
        .unwrap_or_default();
    let meant = plan
        .nearest_downlink(got)
        .filter(|hit| hit.offset_hz == 0)
        .map(|hit| format!(" (downlink channel {})", hit.channel))
        .unwrap_or_default();
    let (summary, remedy) = if rx == 1 {
        (
            format!(
                "the accept for a request in {channel} belongs on {} in RX1, and goes out on \
                 {}{meant}",
                mhz(want),
                mhz(got)
            ),
            format!("correct the server's RX1 channel rule for {}", plan.name),
        )
    } else {
        (
            format!(
                "before the join RX2 is the region's default, {}; the accept goes out on {}",
                mhz(want),
                mhz(got)
            ),
            "use the region's default RX2 for Join-Accepts; the network's own RX2 counts only \
             after the accept has told the node"
                .to_owned(),
        )
    };
    let mut finding = Finding::new(Certainty::Certain, summary, remedy);
    for (_, answer, (got, want)) in wrong.iter().take(4) {
        finding.add(format!(
            "{}: {} instead of {}{}",
            answer.sending.line,
            mhz(*got),
            mhz(*want),
            if answer.sending.taken() { "; the gateway took it" } else { "" }
        ));
    }
    Some(finding)
}

fn bandwidth(modulation: Option<Modulation>) -> Option<u16> {
    match modulation? {
        Modulation::Lora { bw_khz, .. } => Some(bw_khz),
        Modulation::Fsk { .. } | Modulation::LrFhss { .. } => None,
    }
}

pub(super) fn rx1_frequency(case: &Case<'_>) -> Option<Finding> {
    wrong_frequency(case, 1)
}

pub(super) fn rx2_frequency(case: &Case<'_>) -> Option<Finding> {
    wrong_frequency(case, 2)
}

fn rate_misses<'a>(
    case: &Case<'a>,
    rx: u8,
) -> Vec<(&'a Attempt, &'a Answer, (Modulation, Modulation))> {
    all(case, |m| match m {
        Miss::Rate { rx: of, got, want } if *of == rx => Some((*got, *want)),
        _ => None,
    })
}

/// The RX1DROffset that explains the data rate of an accept.
fn offset_of(plan: &Plan, attempt: &Attempt, answer: &Answer) -> Option<u8> {
    let seen = asked_at(attempt, answer);
    let (hz, modulation) = (seen.freq_hz?, seen.modulation?);
    let got = answer.sending.modulation?;
    (1..=plan.rx1_offset_max).find(|offset| {
        plan.rx1(hz, modulation, *offset, false).is_some_and(|w| w.modulation == got)
    })
}

pub(super) fn rx1_offset(case: &Case<'_>) -> Option<Finding> {
    let plan = case.plan?;
    let wrong = rate_misses(case, 1);
    let (attempt, answer, (got, want)) = *wrong.first()?;
    let offset = offset_of(plan, attempt, answer)?;
    let stated = case.record().and_then(|r| r.rx1_dr_offset);
    let carried = case.own_opening(answer).map(|o| o.opened.accept.dl_settings.rx1_dr_offset());
    let known = stated.filter(|s| *s > 0).or(carried.filter(|c| *c > 0));
    if known.is_some_and(|known| {
        let seen = asked_at(attempt, answer);
        match (seen.freq_hz, seen.modulation) {
            (Some(hz), Some(m)) => {
                plan.rx1(hz, m, known, false).is_none_or(|w| w.modulation != got)
            }
            _ => true,
        }
    }) {
        return None;
    }
    let certainty = match (known, wrong.len()) {
        (Some(_), _) => Certainty::Certain,
        (None, 2..) => Certainty::Likely,
        (None, _) => Certainty::Possible,
    };
    let offset = known.unwrap_or(offset);
    let mut finding = Finding::new(
        certainty,
        format!(
            "the accept goes out at {got} instead of {want}: RX1DROffset {offset} was applied, which \
             the node cannot know before it has the accept"
        ),
        "use RX1DROffset 0 for Join-Accepts",
    );
    for (attempt, answer, (got, want)) in wrong.iter().take(4) {
        finding.add(format!(
            "{}: {got}, the request ({}) asks for {want}",
            answer.sending.line,
            attempt.line()
        ));
    }
    if let Some(stated) = stated {
        finding.add(format!("the record's rx1-dr-offset is {stated}"));
    }
    if let Some(carried) = carried {
        finding.add(format!("the accept's DLSettings carry RX1DROffset {carried}"));
    }
    Some(finding)
}

pub(super) fn rx1_data_rate(case: &Case<'_>) -> Option<Finding> {
    if rx1_offset(case).is_some() {
        return None;
    }
    wrong_rate(case, 1)
}

pub(super) fn rx2_data_rate(case: &Case<'_>) -> Option<Finding> {
    wrong_rate(case, 2)
}

fn wrong_rate(case: &Case<'_>, rx: u8) -> Option<Finding> {
    let wrong = rate_misses(case, rx);
    let (_, first, (got, want)) = *wrong.first()?;
    let (what, remedy) = if rx == 1 {
        ("RX1 takes its data rate from the request", "correct the server's RX1 data rate table")
    } else {
        (
            "before the join RX2 has the region's default data rate",
            "use the region's default RX2 data rate for Join-Accepts; the network's own counts only \
             after the accept has told the node",
        )
    };
    let mut finding = Finding::new(
        Certainty::Certain,
        format!("{what}, {want}; the accept goes out at {got}"),
        remedy,
    );
    for (_, answer, (got, want)) in wrong.iter().take(4) {
        finding.add(format!("{}: {got} instead of {want}", answer.sending.line));
    }
    if let Some(dr) = case.record().and_then(|r| r.rx2_data_rate).filter(|_| rx == 2) {
        finding.add(format!("the record's rx2-data-rate is {dr}"));
    }
    if let Some(opening) = case.own_opening(first) {
        finding.add(format!(
            "the accept itself carries RX2DataRate {}, for after the join",
            opening.opened.accept.dl_settings.rx2_data_rate()
        ));
    }
    Some(finding)
}

pub(super) fn polarity(case: &Case<'_>) -> Option<Finding> {
    let wrong = all(case, |m| (*m == Miss::Polarity).then_some(()));
    let (_, first, ()) = wrong.first()?;
    let mut finding = Finding::new(
        Certainty::Certain,
        "the accept is sent with ipol false, the polarity of an uplink: nodes listen with inverted \
         polarity and cannot hear it",
        "send every downlink to nodes with ipol true",
    );
    finding.add(format!(
        "{} with ipol false, first {}",
        count(wrong.len(), "Join-Accept"),
        place(first.sending.line, first.sending.at)
    ));
    Some(finding)
}

pub(super) fn dwell(case: &Case<'_>) -> Option<Finding> {
    let wrong = all(case, |m| match m {
        Miss::Dwell { ms, limit_ms } => Some((*ms, *limit_ms)),
        _ => None,
    });
    let (_, first, (ms, limit)) = *wrong.first()?;
    let n = first.sending.octets.len();
    let mut finding = Finding::new(
        Certainty::Certain,
        format!(
            "the accept of {n} octets is on air for {ms:.1} ms, the limit in force is {limit} ms"
        ),
        "send no CFList in the accept at this data rate (17 octets fit where 33 do not), and \
         NewChannelReq after the join; local rules decide whether the limit holds",
    );
    for (_, answer, (ms, _)) in wrong.iter().take(4) {
        let rate = answer.sending.modulation.map(|m| m.to_string()).unwrap_or_default();
        finding.add(format!("{}: {rate}, {ms:.1} ms", answer.sending.line));
    }
    Some(finding)
}
