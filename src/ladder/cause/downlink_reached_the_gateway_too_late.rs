//! Cause `downlink-reached-the-gateway-too-late`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Fact, Value, fact},
    intake::TxError,
    ladder::{
        finding::Finding,
        gateway,
        join::{
            Case, Rung,
            sent::{self, in_time, late_by, lateness},
            timely::{Aim, aim},
        },
        rung::State,
        session,
    },
    trace::{Answer, Attempt},
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::DownlinkReachedTheGatewayTooLate,
    what: "the datagram came to the gateway after its slot",
    places: &[
        Place::Gateway(gateway::Rung::Sends),
        Place::Join(Rung::Sent),
        Place::Session(session::Rung::Sent),
    ],
    kind: Kind::Exact,
    checks: &[
        Check::Gateway(gateway::told::too_late),
        Check::Join(check),
        Check::Session(session::sent::too_late),
    ],
    page: PAGE,
};

/// Evidence of one kind is told of this many accepts.
const MOST_TOLD: usize = 4;

fn check(case: &Case<'_>) -> Option<Finding> {
    let refused = sent::timing(case);
    let mut late = refused.clone();
    late.retain(|(_, answer, by)| match by {
        Some(_) => !in_time(*by),
        None => answer.sending.refusal() == Some(&TxError::TooLate),
    });
    let said = !late.is_empty();
    late.extend(unsaid(case));
    if late.is_empty() {
        return on_the_way(case, &refused);
    }
    let by = late.first().and_then(|(.., by)| *by);
    // Without times a wrap or a restart explains the gateway's word as well.
    let wrapped = || late.iter().any(|(_, answer, _)| sent::wrapped(answer).is_some());
    if by.is_none() && (wrapped() || sent::restarted(case).is_some()) {
        return None;
    }
    let summary = match late.iter().filter_map(|l| l.2).max() {
        Some(worst) if worst > 0 => fact!(
            "the accept comes to the gateway up to {late} after its slot: the way from gateway to \
             server and back takes too long",
            late = Value::About(worst)
        ),
        _ => Fact::from(
            "the accept comes to the gateway too shortly before its slot: the way from gateway to \
             server and back takes too long",
        ),
    };
    let certainty = if said && by.is_some() { Certainty::Certain } else { Certainty::Likely };
    let mut finding = Finding::new(certainty, summary, REMEDY);
    tell(&mut finding, &late);
    Some(finding)
}

const REMEDY: &str = "shorten the way (the gateway's backhaul first), set the server to collect copies for \
     less time, or to fall back to RX2, one second later; for data raise RxDelay";

type Late<'a> = (&'a Attempt, &'a Answer, Option<i64>);

/// What came after its slot, of which the gateway says nothing: the arithmetic alone speaks.
fn unsaid<'a>(case: &Case<'a>) -> impl Iterator<Item = Late<'a>> {
    let is_late = |attempt: &Attempt, answer: &Answer| {
        let aimed = matches!(aim(answer), Aim::Rx1 | Aim::Rx2) && answer.sending.ack.is_none();
        late_by(attempt, answer).filter(|by| aimed && *by > 0)
    };
    case.answers().filter_map(move |(index, attempt, answer)| {
        let by = is_late(attempt, answer)?;
        // What went out in another window, or may have, needed no more of this one.
        let mut others = case.tried(index).iter().filter(|other| other.is_same(answer));
        let elsewhere =
            others.any(|other| other.reaches() && is_late(attempt, other.answer).is_none());
        let joined = case.state(index, Rung::Proven) == State::Proven;
        (!elsewhere && !joined).then_some((attempt, answer, Some(by)))
    })
}

/// Accepts that were in time where they were captured, and late for the gateway all the same: the
/// capture was taken at the server, or elsewhere on the way, and does not show the whole of it.
fn on_the_way(case: &Case<'_>, refused: &[Late<'_>]) -> Option<Finding> {
    let late: Vec<Late<'_>> = refused
        .iter()
        .copied()
        .filter(|(_, answer, by)| by.is_some() && sent::wrapped(answer).is_none())
        .collect();
    // Where every refused slot lies across a wrap, or the counter began again, that explains it.
    if late.is_empty() || sent::restarted(case).is_some() {
        return None;
    }
    let ahead = late.iter().filter_map(|l| l.2).max().unwrap_or_default().saturating_neg();
    let mut finding = Finding::new(
        Certainty::Likely,
        fact!(
            "the gateway refuses a slot that is right as late; by the capture's clock the accept came \
             {ahead} before it: the capture was not taken at the gateway, and the way there took \
             longer than that",
            ahead = Value::About(ahead)
        ),
        REMEDY,
    );
    tell(&mut finding, &late);
    let trips = late.iter().filter_map(|(_, answer, _)| sent::round_trip(&answer.sending));
    if let Some(longest) = trips.max().filter(|us| *us > ELSEWHERE_US) {
        finding.add(fact!(
            "from an accept to its TX_ACK up to {round_trip} passed; at the gateway itself it would be \
             a few milliseconds",
            round_trip = Value::About(longest)
        ));
    }
    Some(finding)
}

/// A gateway answers a datagram within a few milliseconds (seen in recordings made there).
const ELSEWHERE_US: i64 = 15_000;

fn tell(finding: &mut Finding, late: &[Late<'_>]) {
    for (attempt, answer, by) in late.iter().take(MOST_TOLD) {
        let said = answer.sending.refusal().map_or("not acknowledged", TxError::name);
        finding.add(fact!(
            "{accept} (for {request}): {said}{late}",
            accept = &answer.sending,
            request = attempt.heard.first(),
            said = said.to_owned(),
            late = by.map_or(Fact::from(""), |by| fact!("; {late}", late = lateness(by)))
        ));
    }
    if late.iter().any(|(_, answer, _)| answer.sending.refusal() == Some(&TxError::TooEarly)) {
        finding.add(
            "TOO_EARLY here means late: the forwarder subtracts without a sign, and a slot already \
             past looks far ahead",
        );
    }
}

const PAGE: &str = r"# downlink-reached-the-gateway-too-late
The datagram with the accept came after the moment at which it should have
been on the air, or too shortly before.

## What is seen
At the server: accept sent. At the gateway: TX_ACK with TOO_LATE or
TOO_EARLY, or both in turn. At the node: windows empty. It comes and goes
with the load of the backhaul.

## Why it happens
5 s after the end of the request the accept must start. The way there and
back, the time in which the server collects copies, a join server far away
and a retry add up. A cellular link in bad state alone can take seconds.

## How to be sure
slot = tmst of request + 5 000 000 (or 6 000 000), modulo 2^32. late by =
arrival of the datagram - (arrival of the request + slot - tmst). The
arrival of the request is itself after its reception, so the true lateness
is a little larger.

TOO_EARLY mostly means late. The common forwarder computes slot minus now
without sign: a slot 0.42 s past becomes 2^32 - 420 000 us = 4 294.5 s
ahead, and that it refuses as too early, above 128 s (newer: 256 s) times
queue length plus one. TOO_LATE it says only in the last 2.5 ms (newer
radio: 52.5 ms) before the slot. Truly early needs a slot minutes ahead.

If the slot itself is wrong (1 s in place of 5 s), the cause is
accept-sent-at-the-data-delay. If the arithmetic shows that it came in time,
see gateway-mishandles-its-counter-wrap.

## What to do
1. Measure the round trip and the server's own delay.
2. Let the server use RX2 (one second more) when RX1 cannot be reached.
3. Shorten the collection time; improve the backhaul.
4. For data raise RxDelay above the round trip. For a join 5 s and 6 s are
   fixed.

## Example
Request: tmst 369 601 898, arrived 06:00:03.210. Slot 374 601 898, that is
06:00:08.210. The datagram came at 06:00:08.630: late by 0.420 s. The
gateway: TOO_EARLY. Sent for RX2 it would have been 0.580 s early enough.

## Source
RP002-1.0.1, 2.3; the gateway packet-forwarder protocol, `txpk_ack`;
thresholds from the sources of forwarders.
";
