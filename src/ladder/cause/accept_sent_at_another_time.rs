//! Cause `accept-sent-at-another-time`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Fact, Value, fact},
    gps::GpsTime,
    intake::When,
    ladder::{
        finding::Finding,
        join::{
            self, Case,
            missed::{self, MOST_TOLD},
            sent,
            timely::{Miss, SAME_US, from_request},
        },
    },
    trace::{Answer, Delay},
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::AcceptSentAtAnotherTime,
    what: "the accept is aimed at neither 5 s nor 6 s",
    places: &[Place::Join(join::Rung::Timely)],
    kind: Kind::Exact,
    checks: &[Check::Join(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let stray = missed::all(case, |m| match m {
        Miss::Time(us) => Some(Some(*us)),
        Miss::AtOnce(us) => Some(*us),
        _ => None,
    });
    let &(_, first, us) = stray.first()?;
    // A slot of a counter that is gone, or far ahead, has causes of its own.
    if sent::explains(case, first) {
        return None;
    }
    let mut finding = Finding::new(
        if us.is_some() { Certainty::Certain } else { Certainty::Likely },
        fact!(
            "the accept is aimed {slot}; the node listens at 5 s and at 6 s",
            slot = us.map_or(Fact::from("immediately"), from_request)
        ),
        "schedule Join-Accepts on the server 5 s (RX1) or 6 s (RX2) after the end of the request, by \
         the gateway's counter",
    );
    for (attempt, answer, us) in stray.iter().take(MOST_TOLD) {
        let (accept, request) = (&answer.sending, attempt.heard.first());
        finding.add(if let Some(us) = us {
            fact!("{accept}: {delay} after {request}", accept, delay = Value::Micros(*us), request)
        } else {
            fact!("{accept}: immediately after {request}", accept, request)
        });
    }
    if let Some(leap) = us.and_then(|us| leap_seconds(first, us)) {
        finding.add(leap);
    }
    if stray.len() > 1 && stray.iter().all(|s| s.2 == us) {
        finding.add("the same every time: a setting, not a delay on the way");
    }
    Some(finding)
}

/// What explains a slot by GPS time that misses a window by the leap seconds, or by one of them.
fn leap_seconds(answer: &Answer, us: i64) -> Option<Fact> {
    let (When::Gps(ms), Delay::Gps { .. }) = (answer.sending.when, answer.delay) else {
        return None;
    };
    let leap = GpsTime::from_seconds(u32::try_from(ms / 1_000).ok()?).leap_seconds();
    [5, 6].into_iter().find_map(|window| {
        let off = us - window * 1_000_000;
        let near = |seconds: i64| off.abs_diff(seconds * 1_000_000) <= u64::from(SAME_US);
        let side = if off < 0 { "before" } else { "after" };
        let rx = window - 4;
        if near(leap) || near(-leap) {
            Some(fact!(
                "{seconds} s {side} RX{rx}: the leap seconds between GPS time and UTC, which were \
                 forgotten or taken twice",
                seconds = leap,
                side,
                rx
            ))
        } else if near(1) || near(-1) {
            Some(fact!("1 s {side} RX{rx}: perhaps a leap second too many or too few", side, rx))
        } else {
            None
        }
    })
}

const PAGE: &str = r#"# accept-sent-at-another-time
The Join-Accept is aimed at neither 5 s nor 6 s after the request.

## What is seen
At the server: accept sent. At the gateway: taken and sent without error. At
the node: both windows empty, next attempt.

## Why it happens
The server added RxDelay to the join delay, counted from the arrival of the
datagram in place of the gateway's counter, used the counter of another
gateway, or sent "now" (imme). A rounding to milliseconds or a clock offset
added by hand does it, too. At the data delays 1 s and 2 s the cause has a
name of its own.

## How to be sure
d = (tmst of txpk - tmst of rxpk) mod 2^32, both of the same gateway and the
same run of its counter. A window opens for a few symbols only; an error of
some microseconds is nothing, one of tens of milliseconds loses the frame at
fast rates. Compare several attempts: a constant d points to a setting; a d
that varies by network delay points to a time taken from arrival; a d near a
multiple of another known delay (10 s = 5 + 5) points to a sum.

If the request was heard by several gateways, subtract the tmst of the one
that sends: counters of different gateways have nothing in common. When one
gateway restarted between the two, no difference has a meaning
(gateway-counter-restarted-between-request-and-accept).

## What to do
1. Let the server compute slot = tmst of this gateway's reception +
   5 000 000 (or 6 000 000), modulo 2^32.
2. Never send a Join-Accept with imme to a Class A node.
3. Remove manual corrections.
4. Check with one node that joins well elsewhere.

## Example
RxDelay on record is 5. The accepts for probe-06 are 10 000 000 us after
their requests, three times out of three: 5 s join delay plus 5 s RxDelay.
The gateway sends them; the node closed its last window four seconds before.

## Source
RP002-1.0.1, 2.3; LoRaWAN 1.1, 3.3 (accuracy of windows); the gateway
packet-forwarder protocol, `tmst`, `imme`.
"#;
