//! Cause `accept-sent-at-the-data-delay`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        join::{
            self, Case,
            missed::{self, MOST_TOLD},
            timely::{Miss, asked_at},
        },
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::AcceptSentAtTheDataDelay,
    what: "the accept is aimed at the data windows, 1 s or 2 s",
    places: &[Place::Join(join::Rung::Timely)],
    kind: Kind::Exact,
    checks: &[Check::Join(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let early = missed::all(case, |m| if let Miss::DataDelay(us) = m { Some(*us) } else { None });
    let &(_, first, delay) = early.first()?;
    // The slot is a number in the datagram: one accept is enough to see it.
    let mut finding = Finding::new(
        Certainty::Certain,
        fact!(
            "the accept is aimed {delay} after the request, the delay of data; a Join-Accept belongs \
             at 5 s (RX1) or 6 s (RX2)",
            delay = Value::Micros(delay)
        ),
        "set the delay of Join-Accepts on the server to JOIN_ACCEPT_DELAY1 = 5 s; RxDelay and \
         RECEIVE_DELAY1 are for data only",
    );
    for (attempt, answer, us) in early.iter().take(MOST_TOLD) {
        finding.add(fact!(
            "{accept}: slot less end of request ({request}) = {delay_us} us",
            accept = &answer.sending,
            request = attempt.heard.first(),
            delay_us = *us
        ));
    }
    if let Some(error) = first.sending.refusal() {
        let arrivals = early.iter().filter_map(|(attempt, answer, _)| {
            answer.sending.arrival_after(asked_at(attempt, answer))
        });
        let error = error.name().to_owned();
        finding.add(match arrivals.min() {
            None => fact!("the gateway refuses it with {error}", error),
            Some(arrival) => fact!(
                "the gateway refuses it with {error}; the datagram came {arrival} after the request, \
                 when that slot was {slot}, and the right one still ahead",
                error,
                arrival = Value::About(arrival),
                slot = if arrival > delay { "past" } else { "near" }
            ),
        });
    }
    Some(finding)
}

const PAGE: &str = r"# accept-sent-at-the-data-delay
The Join-Accept is scheduled 1 s or 2 s after the request, at the delays
that belong to data.

## What is seen
At the server: accept sent. At the gateway: taken and sent, or refused with
TOO_EARLY, because 1 s was over before the datagram came. At the node:
windows at 5 s and 6 s stay empty; it asks again.

## Why it happens
A join has its own delays: JOIN_ACCEPT_DELAY1 = 5 s, JOIN_ACCEPT_DELAY2 =
6 s in every region. RECEIVE_DELAY1 (1 s, or the RxDelay of the session) is
for data. The server used one path for both. Others take a delay of 0 to
mean 1 s.

## How to be sure
(tmst of txpk - tmst of rxpk) mod 2^32. 5 000 000 or 6 000 000 is right;
1 000 000 or 2 000 000, give or take some microseconds, is this cause. Make
sure that the txpk answers this request: open it with the node's key, or
exclude other nodes near that time. The value is computed from the server's
own numbers, so two equal cases make it certain.

Do not take TOO_EARLY at its word: it is what the common forwarder says for
a slot already past (downlink-reached-the-gateway-too-late). Do not blame
the backhaul: with the right slot there would have been 4 s more. RxDelay
inside the accept says nothing about the accept's own time.

## What to do
1. On the server use 5 s and 6 s for every Join-Accept, whatever RxDelay is
   set.
2. Keep RxDelay for the data that follows.
3. Do not change the node's windows to fit: it would be lost on every other
   network.

## Example
Request of probe-05: tmst 369 601 898. Accept: tmst 370 601 898. Difference
1 000 000 us. The datagram came 1.31 s after the request, 0.31 s behind its
slot; the gateway said TOO_EARLY. The right slot 374 601 898 was still
3.69 s away.

## Source
RP002-1.0.1, 2.3; RP002-1.0.4, p. 27 (delays).
";
