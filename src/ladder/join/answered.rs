//! Rung 6, answered: a Join-Accept for this node was handed to a gateway.

use crate::{
    explore::near_miss::{self, Mistake},
    fact::Certainty,
    id::Eui64,
    ladder::{
        finding::Finding,
        join::{Case, Rung},
        rung::{Judgement, State},
        words::{count, place},
    },
    trace::{Attempt, Line, Sighting},
};

/// An accept is owed this long after its request at the least: the second window.
const SECOND_WINDOW_US: i64 = 6_000_000;

pub(in crate::ladder) fn judge(case: &Case<'_>, index: usize) -> Judgement {
    let Some(attempt) = case.node.attempts.get(index) else { return Judgement::open() };
    if let Some(answer) = attempt.answers.first() {
        let sending = &answer.sending;
        let to = sending.gateway.map(|eui| format!(" handed to gateway {eui}")).unwrap_or_default();
        let others = attempt.answers.iter().skip(1);
        let (ways, more) = others.fold((1, 0), |(ways, more), other| {
            if other.is_way_of(answer) { (ways + 1, more) } else { (ways, more + 1) }
        });
        let ways =
            if ways > 1 { format!(", in {ways} windows to choose from") } else { String::new() };
        let more = if more > 0 { format!(", and {more} more") } else { String::new() };
        let place = place(sending.line, sending.at);
        return Judgement::proven(format!("{place}: Join-Accept{to}{ways}{more}"));
    }
    match direction(case, attempt) {
        Downlinks::Missing => Judgement::unknown(
            "no Join-Accept, but the gateway counts downlinks that the capture lacks: half a capture",
        ),
        Downlinks::NotCaptured => Judgement::unknown(
            "no Join-Accept, and nothing else from the server either: that side was not captured",
        ),
        Downlinks::Loose => Judgement::unknown(
            "no Join-Accept among what was found; a log, or a list of frames, need not hold every \
             downlink",
        ),
        Downlinks::LeftOut(n) => Judgement::unknown(format!(
            "no Join-Accept in what was asked for: {} left out",
            count(usize::try_from(n).unwrap_or(usize::MAX), "downlink")
        )),
        Downlinks::Damaged(line) => Judgement::unknown(format!(
            "no Join-Accept that can be read; {line} is damaged, and may be one"
        )),
        Downlinks::CutShort => {
            Judgement::unknown("no Join-Accept; the capture ends before one was due")
        }
        Downlinks::Captured(how) => {
            Judgement::broken(format!("no Join-Accept was handed to a gateway; {how}"))
        }
    }
}

/// Whether the capture could show an accept, had there been one.
enum Downlinks {
    /// It could; and why.
    Captured(&'static str),
    /// It holds nothing that comes from a server.
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

fn direction(case: &Case<'_>, attempt: &Attempt) -> Downlinks {
    if case.trace.lacks.downlinks > 0 {
        return Downlinks::LeftOut(case.trace.lacks.downlinks);
    }
    if let Some(line) = case.damaged_after(attempt) {
        return Downlinks::Damaged(line);
    }
    let gateways: Vec<_> =
        attempt.heard.sightings().filter_map(|s| case.trace.gateways.get(&s.gateway)).collect();
    if gateways.iter().any(|g| g.misses_downlinks()) {
        return Downlinks::Missing;
    }
    let cut_short = !case.later_than(attempt) && !goes_on(case, attempt);
    if gateways.iter().any(|g| g.counts_no_downlink()) && !cut_short {
        return Downlinks::Captured("the gateway's own counters show no downlink datagram");
    }
    if gateways.iter().any(|g| g.hears_the_server()) {
        return if cut_short && gateways.iter().all(|g| !g.pull_is_unanswered()) {
            Downlinks::CutShort
        } else {
            Downlinks::Captured("what the server sends is in the capture")
        };
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

/// Whether the requests are good as far as can be checked.
fn requests_are_good(case: &Case<'_>) -> bool {
    [Rung::OnPlan, Rung::Identified, Rung::Authentic, Rung::Fresh]
        .iter()
        .all(|rung| !case.ever(*rung, State::Broken))
}

fn unanswered<'a>(case: &Case<'a>) -> Vec<&'a Attempt> {
    case.node.attempts.iter().filter(|a| a.answers.is_empty()).collect()
}

/// How a gateway's EUI differs from a registered one in a way that people make.
fn resembles(heard: Eui64, registered: Eui64) -> Option<String> {
    let mistake = near_miss::eui_relation(heard, registered)?;
    (mistake != Mistake::Same).then(|| mistake.of_eui("the record's gateway EUI"))
}

pub(in crate::ladder) fn another_eui(case: &Case<'_>) -> Option<Finding> {
    let record = case.record()?;
    if record.gateways.is_empty() || unanswered(case).is_empty() || !requests_are_good(case) {
        return None;
    }
    let heard: Vec<Eui64> = {
        let mut all: Vec<_> = unanswered(case)
            .iter()
            .flat_map(|a| a.heard.sightings())
            .filter_map(|s| s.gateway)
            .collect();
        all.sort_unstable();
        all.dedup();
        all
    };
    if heard.is_empty()
        || heard.iter().any(|g| record.gateways.contains(g))
        || case.node.attempts.iter().any(|a| !a.answers.is_empty())
    {
        return None;
    }
    let &eui = heard.first()?;
    let near = record.gateways.iter().find_map(|r| Some((*r, resembles(eui, *r)?)));
    let bare = eui.hex();
    let logged: Vec<&String> = record
        .log
        .iter()
        .filter(|line| {
            let digits: String =
                line.to_lowercase().chars().filter(char::is_ascii_alphanumeric).collect();
            digits.contains(&bare)
        })
        .collect();
    let certainty = match (&near, logged.is_empty()) {
        (Some(_), false) => Certainty::Certain,
        (Some(_), true) | (None, false) => Certainty::Likely,
        (None, true) => Certainty::Possible,
    };
    let registered =
        near.as_ref().map_or_else(|| record.gateways.first().copied(), |n| Some(n.0))?;
    let mut finding = Finding::new(
        certainty,
        format!(
            "the gateway calls itself {eui}, the server knows {registered}{}",
            near.as_ref().map(|(_, how)| format!(" ({how})")).unwrap_or_default()
        ),
        format!("correct the gateway's EUI on the server to {eui}"),
    );
    finding.add(format!("in the datagrams  {eui}"));
    finding.add(format!("on record         {registered}"));
    for line in logged {
        finding.add(format!("server's log: {line}"));
    }
    finding.add("the node's request is good as far as it can be checked".to_owned());
    Some(finding)
}

pub(in crate::ladder) fn no_downlink_path(case: &Case<'_>) -> Option<Finding> {
    if unanswered(case).is_empty() || case.answers().next().is_some() {
        return None;
    }
    let mut gateways: Vec<_> =
        unanswered(case).iter().flat_map(|a| a.heard.sightings()).map(|s| s.gateway).collect();
    gateways.sort_unstable();
    gateways.dedup();
    let deaf: Vec<_> = gateways
        .iter()
        .filter_map(|g| Some((g, case.trace.gateways.get(g)?)))
        .filter(|(_, trace)| trace.pull_is_unanswered())
        .collect();
    if deaf.is_empty() || deaf.len() < gateways.len() {
        return None;
    }
    let (eui, trace) = *deaf.first()?;
    let name = eui.map(|e| format!(" {e}")).unwrap_or_default();
    let mut finding = Finding::new(
        if trace.counts.pull_data >= 3 { Certainty::Certain } else { Certainty::Likely },
        format!(
            "gateway{name} gets acknowledgements for its uplinks and none for its {} PULL_DATA: \
             nothing can come down to it",
            trace.counts.pull_data
        ),
        "open the gateway's downlink UDP port both ways (firewall, NAT, the port number set for \
         downlinks): the gateway must get a PULL_ACK for each PULL_DATA",
    );
    finding.add(format!(
        "PUSH_DATA {}, PUSH_ACK {}; PULL_DATA {}, PULL_ACK {}",
        trace.counts.push_data,
        trace.counts.push_ack,
        trace.counts.pull_data,
        trace.counts.pull_ack
    ));
    if let Some(stat) = trace.stats.last() {
        let ackr = stat.stat.ackr.map(|r| format!("ackr {r} %")).unwrap_or_default();
        let dwnb = stat.stat.dwnb.map(|n| format!(", dwnb {n}")).unwrap_or_default();
        finding.add(format!("{}: the gateway's statistics: {ackr}{dwnb}", stat.line));
    }
    for line in case.record().into_iter().flat_map(|r| &r.log) {
        finding.add(format!("server's log: {line}"));
    }
    Some(finding)
}

pub(in crate::ladder) fn no_answer(case: &Case<'_>) -> Option<Finding> {
    let silent: Vec<_> = case.broken_at(Rung::Answered).map(|(_, a)| a).collect();
    // One request without an answer is a lost datagram; a server that answers others works.
    if silent.is_empty() || case.answers().next().is_some() || !requests_are_good(case) {
        return None;
    }
    // A request that may never have reached the server is no reason to look for its answer there.
    let read = |seen: &Sighting| {
        let gateway = case.trace.gateways.get(&seen.gateway);
        gateway.is_none_or(|gateway| gateway.push.asked == 0 || gateway.is_read())
    };
    if !silent.iter().any(|attempt| attempt.heard.sightings().any(read)) {
        return None;
    }
    // Nobody owes a neighbour's node an answer.
    if case.entry.is_none() && !case.roster.nodes.is_empty() {
        return None;
    }
    let checked = case.ever(Rung::Authentic, State::Proven);
    let fresh = super::fresh::ever(case);
    let certainty =
        if silent.len() >= 2 && checked && fresh { Certainty::Likely } else { Certainty::Possible };
    let mut finding = Finding::new(
        certainty,
        format!(
            "{} went unanswered, though {}",
            count(silent.len(), "request"),
            if checked {
                "identity, MIC and nonce are good as far as the roster tells"
            } else {
                "nothing wrong with them can be seen"
            }
        ),
        "look into the server's log at these times: is the node enabled, its record saved, its \
         JoinEUI served by this join server, its DevNonce taken?",
    );
    for attempt in silent.iter().take(4) {
        finding.add(format!(
            "{}: DevNonce {}, no accept",
            place(attempt.line(), attempt.heard.at()),
            attempt.nonce()
        ));
    }
    for line in case.record().into_iter().flat_map(|r| &r.log) {
        finding.add(format!("server's log: {line}"));
    }
    Some(finding)
}
