//! The node's receive side: its windows, and good accepts that it does not take.

use crate::{
    fact::Certainty,
    frame::Direction,
    ladder::{
        console::{Window, first_windows},
        finding::Finding,
        join::{
            Case, Rung,
            heard::logged_frequencies,
            proven::SOUND_MARGIN_DB,
            timely::{self, SAME_HZ, asked_at, windows},
        },
        rung::State,
        words::{count, mhz, seconds},
    },
    radio::time_on_air,
    trace::{Answer, Attempt, Data},
};

/// A window this far from its time is off, microseconds.
const OFF_US: i64 = 100_000;
/// And one that opens so much early has closed before the accept comes.
const EARLY_US: i64 = 500_000;

/// The node's first windows after requests, as its own log has them.
pub(in crate::ladder) fn own_windows(case: &Case<'_>) -> Vec<Window> {
    let log = case.firmware().map(|firmware| firmware.log.as_slice()).unwrap_or_default();
    let mut windows = first_windows(log);
    // RX1 of data opens after 1 s by default: unless a join is named it is no window of one.
    windows.retain(|w| w.of_join || (w.after_us - 1_000_000).abs() > OFF_US);
    // A console may speak of RX2 alone: its time and its frequency are known.
    let rx2 = case.plan.map(|plan| plan.rx2().freq_hz);
    let second = |w: &Window| {
        let there =
            |(hz, fine): (u32, u32)| rx2.is_some_and(|rx2| rx2.abs_diff(hz) < fine.max(SAME_HZ));
        (w.after_us - 6_000_000).abs() <= OFF_US && w.hz.is_some_and(there)
    };
    windows.retain(|window| !second(window));
    windows
}

/// The accept on air, against the node's first window: how late the windows open, and the longest
/// accept among those missed.
pub(in crate::ladder) fn late_windows(case: &Case<'_>) -> Option<(Vec<Window>, f64)> {
    let windows = own_windows(case);
    if windows.is_empty() {
        return None;
    }
    // A window that opens within the preamble still catches the frame; 40 ms is five symbols of
    // the slowest rate's preamble short of none. One that opens early may be open still: it is widened
    // for a clock that is not exact.
    let off = windows
        .iter()
        .all(|w| w.after_us > 5_000_000 + OFF_US || w.after_us < 5_000_000 - EARLY_US);
    if !off {
        return None;
    }
    let air = case
        .answers()
        .filter_map(|(_, _, answer)| {
            let sending = &answer.sending;
            let octets = sending.octets.len();
            let air = time_on_air(sending.modulation?, octets, Direction::Downlink)?;
            Some(air.as_secs_f64())
        })
        .fold(0.0, f64::max);
    (air > 0.0).then_some((windows, air))
}

pub(in crate::ladder) fn window_late(case: &Case<'_>) -> Option<Finding> {
    if case.ever(Rung::Proven, State::Proven) || !climbs_to_acceptable(case) {
        return None;
    }
    let (windows, air) = late_windows(case)?;
    let first = windows.first()?;
    let error = first.after_us - 5_000_000;
    let same = windows.iter().all(|w| (w.after_us - first.after_us).abs() < 5_000);
    // At 6 s it may be the second one, which the console calls by no name.
    let second = windows.iter().all(|w| (w.after_us - 6_000_000).abs() <= OFF_US && w.hz.is_none());
    let mut finding = Finding::new(
        if error < 0 || second { Certainty::Likely } else { Certainty::Certain },
        format!(
            "the node's log opens its first window {} after the end of transmission, {} too {}; \
             the accept was on air from 5.000 s for {air:.3} s",
            seconds(first.after_us),
            seconds(error.abs()),
            if error > 0 { "late" } else { "early" }
        ),
        "have the node count the 5 s from the end of transmission (the radio's interrupt), by a \
         clock whose error is known",
    );
    for window in windows.iter().take(4) {
        finding.add(format!(
            "node's log: {} after tx done: {}",
            seconds(window.after_us),
            window.line
        ));
    }
    if same && windows.len() > 1 {
        finding.add(
            "the same error each time: a constant in the code, not a drifting clock".to_owned(),
        );
    }
    Some(finding)
}

/// The node's first windows, none of which is on the RX1 frequency of any of its requests, and the
/// frequencies that they belong on.
pub(in crate::ladder) fn windows_elsewhere(case: &Case<'_>) -> Option<(Vec<Window>, Vec<u32>)> {
    let mut opened = own_windows(case);
    opened.retain(|window| window.hz.is_some());
    let plan = case.plan?;
    let mut wanted: Vec<u32> = case
        .node
        .attempts
        .iter()
        .filter_map(|attempt| windows(plan, attempt.heard.best())?.0.map(|rx1| rx1.freq_hz))
        .collect();
    wanted.sort_unstable();
    wanted.dedup();
    let near = |(hz, fine): (u32, u32), of: &[u32]| {
        of.iter().any(|other| other.abs_diff(hz) < fine.max(SAME_HZ))
    };
    let elsewhere = opened.iter().all(|window| window.hz.is_some_and(|hz| !near(hz, &wanted)));
    // Where the console tells where it sends, these must be the requests that were heard.
    let asked: Vec<u32> =
        case.node.attempts.iter().filter_map(|attempt| attempt.heard.best().freq_hz).collect();
    let log = case.firmware().map(|firmware| firmware.log.as_slice()).unwrap_or_default();
    if logged_frequencies(log).iter().any(|hz| !near((*hz, SAME_HZ), &asked)) {
        return None;
    }
    (elsewhere && !opened.is_empty() && !wanted.is_empty()).then_some((opened, wanted))
}

pub(in crate::ladder) fn window_elsewhere(case: &Case<'_>) -> Option<Finding> {
    if case.ever(Rung::Proven, State::Proven) || !climbs_to_acceptable(case) {
        return None;
    }
    let (opened, wanted) = windows_elsewhere(case)?;
    let list = |all: &mut dyn Iterator<Item = u32>| {
        let mut words: Vec<String> = all.map(mhz).collect();
        words.dedup();
        words.join(", ")
    };
    let on = list(&mut opened.iter().filter_map(|window| window.hz.map(|(hz, _)| hz)));
    let mut finding = Finding::new(
        Certainty::Likely,
        format!(
            "the node's log opens its first window on {on}; RX1 of its requests is on {}",
            list(&mut wanted.into_iter())
        ),
        "correct the rule by which the node's stack finds the RX1 frequency from the channel of its \
         request, or the region that it is built for",
    );
    for window in opened.iter().take(4) {
        finding.add(format!("node's log: {}", window.line));
    }
    Some(finding)
}

/// Whether rungs 1 to 9 hold for any attempt.
fn climbs_to_acceptable(case: &Case<'_>) -> bool {
    (0..case.node.attempts.len()).any(|i| climbed(case, i))
}

/// Whether rungs 2 to 9 of an attempt hold, as far as anything can be said of the first of them.
fn climbed(case: &Case<'_>, index: usize) -> bool {
    let request = [Rung::OnPlan, Rung::Identified, Rung::Authentic];
    let answer = [Rung::Timely, Rung::Sent, Rung::Acceptable];
    request.iter().all(|rung| case.state(index, *rung) != State::Broken)
        && answer.iter().all(|rung| case.state(index, *rung) == State::Proven)
}

/// The good answer of an attempt: taken by the gateway and aimed at a window.
fn good_answer<'a>(case: &Case<'a>, attempt: &'a Attempt) -> Option<&'a Answer> {
    attempt
        .answers
        .iter()
        .find(|answer| answer.sending.taken() && timely::misses(case, attempt, answer).is_empty())
}

/// Attempts whose accept was good in every way, at a sound margin through the gateway that sent
/// it, and after which the node asked again without any data.
pub(in crate::ladder) fn not_taken_at(case: &Case<'_>) -> Vec<usize> {
    let n = case.node.attempts.len();
    let proven = case.node.sessions.iter().any(|s| s.uplinks().next().is_some())
        || case.node.unverified.iter().any(|d| matches!(d, Data::Up { .. }));
    // Its data may be among what was left out, or what is damaged.
    if proven || case.trace.lacks.uplinks > 0 {
        return Vec::new();
    }
    let good: Vec<usize> = (0..n)
        .filter(|i| climbed(case, *i))
        .filter(|i| {
            case.node.attempts.get(*i).is_some_and(|attempt| {
                let whole = case.damaged_after(attempt).is_none();
                whole
                    && good_answer(case, attempt)
                        .and_then(|answer| asked_at(attempt, answer).margin())
                        .is_some_and(|margin| margin >= SOUND_MARGIN_DB)
            })
        })
        .collect();
    let asked_again = good.iter().filter(|i| case.asks_again(**i)).count();
    if asked_again >= 2 || (good.len() >= 3 && asked_again >= 1) { good } else { Vec::new() }
}

pub(in crate::ladder) fn not_taken(case: &Case<'_>) -> Option<Finding> {
    let good = not_taken_at(case);
    if good.is_empty() {
        return None;
    }
    let margins: Vec<f32> = good
        .iter()
        .filter_map(|i| {
            let attempt = case.node.attempts.get(*i)?;
            asked_at(attempt, good_answer(case, attempt)?).margin()
        })
        .collect();
    let least = margins.iter().copied().fold(f32::MAX, f32::min);
    let mut finding = Finding::new(
        Certainty::Likely,
        format!(
            "{} were right in delay, frequency, data rate and polarity, taken by the gateway, and \
             open with the node's own key; the node asks again: what is left is its receive side",
            count(good.len(), "Join-Accept")
        ),
        "look at the node: timing of its receive windows, antenna switch in receive, oscillator, \
         sync word and polarity of its receiver. Which of them, this capture cannot tell",
    );
    for i in good.iter().take(4) {
        if let Some(attempt) = case.node.attempts.get(*i)
            && let Some(answer) = good_answer(case, attempt)
        {
            let us = answer.delay.slot_us().unwrap_or_default();
            let on = answer.sending.freq_hz.map(mhz).unwrap_or_default();
            finding.add(format!(
                "{}: {} after the request, {on}, acknowledged",
                answer.sending.line,
                seconds(us)
            ));
        }
    }
    finding.add(format!("link margin of the requests: {least:.1} dB at the least"));
    let own = own_windows(case);
    if let Some(window) = own.first() {
        finding.add(format!(
            "by its console the first window opens {} after the end of transmission: in time ({})",
            seconds(window.after_us),
            window.line
        ));
    }
    finding.add(format!(
        "would decide: {}a logic trace of its radio, a try beside a second gateway (not closer than a \
         few metres)",
        if own.is_empty() { "the node's own log of its windows, " } else { "" }
    ));
    Some(finding)
}

/// Attempts whose accept went out through a gateway with much less margin than another that heard
/// the request: the answer, the margin there, the best margin.
pub(in crate::ladder) fn through_the_far(case: &Case<'_>) -> Vec<(usize, f32, f32)> {
    let proven = case.node.sessions.iter().any(|s| s.uplinks().next().is_some());
    if proven {
        return Vec::new();
    }
    let far: Vec<(usize, f32, f32)> = case
        .node
        .attempts
        .iter()
        .enumerate()
        .filter(|(i, _)| climbed(case, *i))
        .filter_map(|(i, attempt)| {
            let answer = good_answer(case, attempt)?;
            let used = asked_at(attempt, answer);
            let best = attempt.heard.best();
            let (here, there) = (used.margin()?, best.margin()?);
            (best.gateway != used.gateway && here < 5.0 && there - here >= 10.0)
                .then_some((i, here, there))
        })
        .collect();
    if far.len() >= 2 { far } else { Vec::new() }
}

pub(in crate::ladder) fn far_gateway(case: &Case<'_>) -> Option<Finding> {
    let far = through_the_far(case);
    let &(index, here, there) = far.first()?;
    let attempt = case.node.attempts.get(index)?;
    let used = asked_at(attempt, good_answer(case, attempt)?);
    let best = attempt.heard.best();
    let name = |g: Option<crate::id::Eui64>| g.map_or("?".to_owned(), |g| g.to_string());
    let mut finding = Finding::new(
        if far.len() >= 3 { Certainty::Certain } else { Certainty::Likely },
        format!(
            "every accept goes out through gateway {}, {here:.1} dB above the floor, though gateway \
             {} hears the node {there:.1} dB above it",
            name(used.gateway),
            name(best.gateway)
        ),
        "have the server choose the gateway by link margin (SNR less the floor of the spreading \
         factor), and check the far gateway's RSSI offset",
    );
    for (i, here, there) in far.iter().take(4) {
        if let Some(attempt) = case.node.attempts.get(*i) {
            finding.add(format!(
                "{}: margin {here:.1} dB at the gateway used, {there:.1} dB at the other",
                attempt.line()
            ));
        }
    }
    Some(finding)
}
