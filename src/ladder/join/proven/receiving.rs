//! The node's receive side: its windows, and good accepts that it does not take.

use crate::{
    frame::Direction,
    intake::console::{Window, first_windows, logged_frequencies},
    ladder::{
        join::{
            Case, Rung,
            timely::{SAME_HZ, asked_at, windows},
        },
        rung::State,
    },
    radio::time_on_air,
    trace::{Answer, Attempt, Data},
};

/// A window this far from its time is off, microseconds.
pub(in crate::ladder) const OFF_US: i64 = 100_000;
/// And one that opens so much early has closed before the accept comes.
const EARLY_US: i64 = 500_000;
/// A margin from which a lost downlink is no longer ordinary, in dB.
const SOUND_MARGIN_DB: f32 = 10.0;

/// The attempts whose good accepts the node did not take, as far as the rungs below the last show.
pub(in crate::ladder) fn deaf(case: &Case<'_>) -> Vec<usize> {
    let by_console = late_windows(case).is_some() || windows_elsewhere(case).is_some();
    if by_console || !through_the_far(case).is_empty() {
        return (0..case.node.attempts.len()).collect();
    }
    not_taken(case)
}

/// The node's first windows after requests, as its own log has them.
pub(in crate::ladder) fn own_windows(case: &Case<'_>) -> Vec<Window> {
    let log = case.firmware().map(|firmware| firmware.log.as_slice()).unwrap_or_default();
    let mut windows = first_windows(log);
    // RX1 of data opens after 1 s by default: unless a join is named it is not a window of one.
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

/// The node's first windows, all at the wrong time, and for how many seconds the longest of the
/// accepts missed was on the air.
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

/// Whether no join is proven, and rungs 2 to 9 hold for any attempt.
pub(in crate::ladder) fn climbs_to_acceptable(case: &Case<'_>) -> bool {
    !case.ever(Rung::Proven, State::Proven)
        && (0..case.node.attempts.len()).any(|i| climbed(case, i))
}

/// Whether rungs 2 to 9 of an attempt hold, as far as anything can be said of the first of them.
fn climbed(case: &Case<'_>, index: usize) -> bool {
    let request = [Rung::OnPlan, Rung::Identified, Rung::Authentic];
    let answer = [Rung::Timely, Rung::Sent, Rung::Acceptable];
    request.iter().all(|rung| case.state(index, *rung) != State::Broken)
        && answer.iter().all(|rung| case.state(index, *rung) == State::Proven)
}

/// The good accept of an attempt that the gateway took.
fn good_answer<'a>(case: &Case<'a>, index: usize) -> Option<&'a Answer> {
    let mut all = case.tried(index).iter();
    all.find(|tried| tried.is_good() && tried.answer.sending.taken()).map(|tried| tried.answer)
}

/// An attempt whose accept was good in every way, and how well the gateway that sent it hears the
/// node, in dB above the floor.
pub(in crate::ladder) fn good<'a>(case: &Case<'a>, index: usize) -> Option<(&'a Answer, f32)> {
    let attempt = case.node.attempts.get(index)?;
    let answer = good_answer(case, index)?;
    Some((answer, asked_at(attempt, answer).margin()?))
}

/// The attempts of the last run whose accept was good in every way, at a sound margin through the
/// gateway that sent it, where the node asked again without any data; none where it did so once.
pub(in crate::ladder) fn not_taken(case: &Case<'_>) -> Vec<usize> {
    let run = case.last_run();
    let Some(begins) = case.node.attempts.get(run.start).map(Attempt::line) else {
        return Vec::new();
    };
    let later = |data: &Data| data.heard().is_some() && data.line() > begins;
    let spoke = case.node.sessions.iter().flat_map(|s| &s.frames).any(|seen| later(&seen.data))
        || case.node.unverified.iter().any(later);
    // Its data may be among what was left out, or what is damaged.
    if spoke || case.trace.lacks.uplinks > 0 {
        return Vec::new();
    }
    let good: Vec<usize> = run
        .filter(|i| climbed(case, *i))
        .filter(|i| {
            let attempt = case.node.attempts.get(*i);
            let intact = attempt.is_some_and(|attempt| case.damaged_after(attempt).is_none());
            intact && good(case, *i).is_some_and(|(_, margin)| margin >= SOUND_MARGIN_DB)
        })
        .collect();
    let asked_again = good.iter().filter(|i| case.asks_again(**i)).count();
    if asked_again >= 2 || (good.len() >= 3 && asked_again >= 1) { good } else { Vec::new() }
}

/// An attempt whose accept went out through a gateway with much less margin than another that heard
/// the request.
#[derive(Clone, Copy, Debug)]
pub(in crate::ladder) struct Far<'a> {
    pub(in crate::ladder) attempt: &'a Attempt,
    pub(in crate::ladder) answer: &'a Answer,
    /// The margin at the gateway used, in dB.
    pub(in crate::ladder) here: f32,
    /// The best margin.
    pub(in crate::ladder) there: f32,
}

/// The attempts of the last run whose accepts all went the long way, where there are at least two.
pub(in crate::ladder) fn through_the_far<'a>(case: &Case<'a>) -> Vec<Far<'a>> {
    let far = |i: usize| {
        let attempt = case.node.attempts.get(i)?;
        let answer = good_answer(case, i).filter(|_| climbed(case, i))?;
        let used = asked_at(attempt, answer);
        let best = attempt.heard.best();
        let (here, there) = (used.margin()?, best.margin()?);
        (best.gateway != used.gateway && here < 5.0 && there - here >= 10.0).then_some(Far {
            attempt,
            answer,
            here,
            there,
        })
    };
    let proven = case.node.sessions.iter().any(|s| s.uplinks().next().is_some());
    if proven && case.last_run().is_empty() {
        return Vec::new();
    }
    let far: Vec<Far<'a>> = case.last_run().filter_map(far).collect();
    if far.len() >= 2 { far } else { Vec::new() }
}
