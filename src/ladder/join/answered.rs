//! Rung 6, answered: a Join-Accept for this node was handed to a gateway.

use super::{Case, Rung};
use crate::{
    fact::{Cite, Fact, Value, fact},
    ladder::rung::{Judgement, State},
    trace::{Attempt, GatewayTrace, Line},
};

/// An accept is owed this long after its request at the least: the second window.
const SECOND_WINDOW_US: i64 = 6_000_000;

pub(in crate::ladder) fn judge(case: &Case<'_>, index: usize) -> Judgement {
    let Some(attempt) = case.node.attempts.get(index) else { return Judgement::open() };
    if let Some(answer) = attempt.answers.first() {
        let sending = &answer.sending;
        let others = attempt.answers.iter().skip(1);
        let (ways, more) = others.fold((1, 0), |(ways, more), other| {
            if other.is_way_of(answer) { (ways + 1, more) } else { (ways, more + 1) }
        });
        let mut parts = vec![match sending.gateway {
            Some(gateway) => fact!("Join-Accept handed to gateway {gateway}", gateway),
            None => Fact::from("Join-Accept"),
        }];
        if ways > 1 {
            parts.push(fact!("in {windows} windows to choose from", windows = ways));
        }
        if more > 0 {
            parts.push(fact!("and {more} more", more));
        }
        return Judgement::proven(fact!(
            "{accept}: {handed}",
            accept = Cite::from(sending).with_time(),
            handed = Fact::joined(parts, ", ")
        ));
    }
    match downlinks(case, attempt) {
        Downlinks::Missing => Judgement::unknown(
            "no Join-Accept, but the gateway counts downlinks that the capture lacks: half a capture",
        ),
        Downlinks::NotCaptured => Judgement::unknown(
            "no Join-Accept, and nothing else of the downlink side either (PULL_ACK, PULL_RESP): \
             that side was not captured",
        ),
        Downlinks::Loose => Judgement::unknown(
            "no Join-Accept among what was found; a log, or a list of frames, need not hold every \
             downlink",
        ),
        Downlinks::LeftOut(n) => Judgement::unknown(fact!(
            "no Join-Accept in what was asked for: {downlinks} left out",
            downlinks = Value::Count(n, "downlink")
        )),
        Downlinks::Damaged(line) => Judgement::unknown(fact!(
            "no Join-Accept that can be read; {damaged} is damaged, and may be one",
            damaged = line
        )),
        Downlinks::CutShort => {
            Judgement::unknown("no Join-Accept; the capture ends before one was due")
        }
        Downlinks::Captured { how, .. } => {
            Judgement::broken(fact!("no Join-Accept was handed to a gateway; {how}", how))
        }
    }
}

/// Whether the capture could show an accept, had there been one.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
enum Downlinks {
    /// It could; and why. It is whole where the gateway's own counters, or the answers to its
    /// PULL_DATA, show that no datagram was picked out.
    Captured { how: &'static str, whole: bool },
    /// It holds nothing of the downlink side.
    NotCaptured,
    /// The gateway counted what the capture lacks.
    Missing,
    /// It is a log, or a list of frames, which leave out what they like.
    Loose,
    /// Downlinks were left out as not asked for.
    LeftOut(u64),
    /// Something is damaged that may have been one.
    Damaged(Line),
    /// It ends too early.
    CutShort,
}

fn downlinks(case: &Case<'_>, attempt: &Attempt) -> Downlinks {
    if case.trace.lacks.downlinks > 0 {
        return Downlinks::LeftOut(case.trace.lacks.downlinks);
    }
    if let Some(line) = case.damaged_after(attempt) {
        return Downlinks::Damaged(line);
    }
    let gateways: Vec<&GatewayTrace> =
        attempt.heard.sightings().filter_map(|s| case.trace.gateways.get(&s.gateway)).collect();
    if gateways.iter().any(|g| g.misses_downlinks()) {
        return Downlinks::Missing;
    }
    let cut_short = !case.later_than(attempt) && !goes_on(case, attempt);
    if gateways.iter().any(|g| g.counts_no_downlink()) && !cut_short {
        let how = "the gateway's own counters show no downlink datagram";
        return Downlinks::Captured { how, whole: true };
    }
    let refused = |g: &&GatewayTrace| g.pull_is_unanswered(attempt.line());
    if gateways.iter().any(|g| g.hears_downlinks()) || gateways.iter().any(refused) {
        if cut_short && !gateways.iter().any(refused) {
            return Downlinks::CutShort;
        }
        let whole =
            gateways.iter().any(|g| g.downlinks_are_whole()) || gateways.iter().any(refused);
        return Downlinks::Captured { how: "the downlink side is in the capture", whole };
    }
    if gateways.iter().any(|g| g.loose_downlinks > 0) {
        return Downlinks::Loose;
    }
    Downlinks::NotCaptured
}

/// Whether the capture goes on until an accept was due, by its clock or the gateway's counter.
fn goes_on(case: &Case<'_>, attempt: &Attempt) -> bool {
    let ends = case.trace.span.map(|(_, last)| last.as_microsecond());
    if let (Some(ends), Some(asked)) = (ends, attempt.heard.at()) {
        return ends - asked.as_microsecond() >= SECOND_WINDOW_US;
    }
    attempt.heard.sightings().any(|seen| {
        let gateway = case.trace.gateways.get(&seen.gateway);
        let counted = gateway.and_then(|gateway| gateway.counted_on(seen));
        counted.is_some_and(|us| i64::from(us) >= SECOND_WINDOW_US)
    })
}

/// Whether a request without an accept may have been answered all the same.
pub(in crate::ladder) fn may_lack_the_answer(case: &Case<'_>, attempt: &Attempt) -> bool {
    attempt.answers.is_empty() && !matches!(downlinks(case, attempt), Downlinks::Captured { .. })
}

/// Whether an attempt is seen to fail, now that all rungs are judged: an accept of it breaks, or a
/// whole capture shows that none came. A capture of picked lines may lack the one that came.
pub(in crate::ladder) fn is_seen_to_fail(case: &Case<'_>, index: usize) -> bool {
    let Some(attempt) = case.node.attempts.get(index) else { return false };
    let broken = case.ladders.get(index).is_some_and(|ladder| ladder.first_broken().is_some());
    let whole = || matches!(downlinks(case, attempt), Downlinks::Captured { whole: true, .. });
    broken && attempt.ask.join().is_some() && (!attempt.answers.is_empty() || whole())
}

/// Whether the requests of the last run are good as far as can be checked.
pub(in crate::ladder) fn requests_are_good(case: &Case<'_>) -> bool {
    let rungs = [Rung::OnPlan, Rung::Identified, Rung::Authentic, Rung::Fresh];
    let good = |index: usize| rungs.iter().all(|rung| case.state(index, *rung) != State::Broken);
    case.last_run().all(good)
}

/// The requests of the last run that were not answered; none where one of that run was: a single
/// request without an answer is a lost datagram.
pub(in crate::ladder) fn unanswered_run<'a>(case: &Case<'a>) -> Vec<(usize, &'a Attempt)> {
    let run: Vec<_> =
        case.last_run().filter_map(|i| Some((i, case.node.attempts.get(i)?))).collect();
    let answered = run.iter().any(|(_, attempt)| !attempt.answers.is_empty());
    // What the options left out may have been the answer.
    if answered || case.trace.lacks.downlinks > 0 { Vec::new() } else { run }
}
