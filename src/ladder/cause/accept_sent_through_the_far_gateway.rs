//! Cause `accept-sent-through-the-far-gateway`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Fact, Value, fact},
    id::Eui64,
    ladder::{
        finding::Finding,
        join::{self, Case, proven::receiving::through_the_far, timely::asked_at},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::AcceptSentThroughTheFarGateway,
    what: "a gateway with a much better margin heard the request",
    places: &[Place::Join(join::Rung::Proven)],
    kind: Kind::Exact,
    checks: &[Check::Join(check)],
    page: PAGE,
};

/// Evidence of one kind is told of this many attempts.
const MOST_TOLD: usize = 4;

fn check(case: &Case<'_>) -> Option<Finding> {
    let far = through_the_far(case);
    let first = far.first()?;
    let used = asked_at(first.attempt, first.answer);
    let best = first.attempt.heard.best();
    let mut finding = Finding::new(
        if far.len() >= 3 { Certainty::Certain } else { Certainty::Likely },
        fact!(
            "every accept goes out through {used}, {margin_used} above the floor, though {best} hears \
             the node {margin_best} above it",
            used = named(used.gateway),
            margin_used = Value::db(first.here),
            best = named(best.gateway),
            margin_best = Value::db(first.there)
        ),
        "set the server to choose the gateway by link margin (SNR less the floor of the spreading \
         factor), and check the far gateway's RSSI offset",
    );
    for far in far.iter().take(MOST_TOLD) {
        finding.add(fact!(
            "{request}: margin {margin_used} at the gateway used, {margin_best} at the other",
            request = far.attempt.heard.first(),
            margin_used = Value::db(far.here),
            margin_best = Value::db(far.there)
        ));
    }
    Some(finding)
}

fn named(gateway: Option<Eui64>) -> Fact {
    gateway.map_or(Fact::from("a gateway without a name"), |gateway| {
        fact!("gateway {gateway}", gateway)
    })
}

const PAGE: &str = r"# accept-sent-through-the-far-gateway
The accept was handed to a gateway with a poor link, although another one
heard the request much better.

## What is seen
At the server: one of several gateways chosen. At the far gateway: accept
sent. At the near gateway: nothing to do. At the node: windows empty, again
and again.

## Why it happens
The server chooses by RSSI with a wrong offset, by first arrival, by a fixed
order, or by a load limit. A gateway on a hill with a quiet receiver and a
fast backhaul arrives first and is chosen, though its SNR is at the limit.

## How to be sure
For each copy of the request: margin = lsnr - floor of its spreading factor.
Compare the chosen gateway's with the best. A chosen margin of few decibels
against a best one above 15 dB, in several exchanges, is strong evidence; it
never is proof, since the way down was not measured. One exchange is no
pattern.

Do not compare RSSI between makes: their calibration differs. SNR compares
better, but saturates at the high end, some 10 dB; there take RSSI of one
make. If the near gateway cannot send (duty cycle used up, no path down, a
TX_ACK error shortly before), the choice was forced and that is the cause to
fix.

## What to do
1. Let the server choose by margin, and change the gateway after a failed
   join.
2. Correct the RSSI offset in the far gateway.
3. Look for a reason why the near one was passed over.
4. Do not raise power to make up for it.

## Example
Probe-04 at SF10, floor -15 dB. By the shed: -63 dBm, SNR 9.5 dB, margin
24.5 dB. On the hill: -121 dBm, SNR -14.2 dB, margin 0.8 dB. Five accepts
out of five went through the hill. Its copies arrive 30 ms earlier.

## Source
Floors: LoRa transceiver data sheets; LoRaWAN 1.0.4, LinkCheckAns (margin);
the choice is the server's, common practice.
";
