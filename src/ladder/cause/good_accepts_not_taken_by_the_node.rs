//! Cause `good-accepts-not-taken-by-the-node`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    intake::Speaker,
    ladder::{
        finding::Finding,
        join::{
            self, Case,
            proven::receiving::{good, not_taken, own_windows},
        },
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::GoodAcceptsNotTakenByTheNode,
    what: "good accepts at a sound margin, and the node asks again",
    places: &[Place::Join(join::Rung::Proven)],
    kind: Kind::Residual,
    checks: &[Check::Join(check)],
    page: PAGE,
};

/// Evidence of one kind is told of this many accepts.
const MOST_TOLD: usize = 4;

fn check(case: &Case<'_>) -> Option<Finding> {
    let attempts = not_taken(case);
    let good: Vec<_> = attempts.iter().filter_map(|i| good(case, *i)).collect();
    if good.is_empty() {
        return None;
    }
    let least = good.iter().map(|(_, margin)| *margin).fold(f32::MAX, f32::min);
    let mut finding = Finding::new(
        Certainty::Likely,
        fact!(
            "{accepts} were right in delay, frequency, data rate and polarity, taken by the gateway, \
             and open with the node's own key; the node asks again: what is left is its receive side",
            accepts = Value::count(attempts.len(), "Join-Accept")
        ),
        "look at the node: timing of its receive windows, antenna switch in receive, oscillator, \
         sync word and polarity of its receiver. Which of them, this capture cannot show",
    );
    for (answer, _) in good.iter().take(MOST_TOLD) {
        let Some(hz) = answer.sending.freq_hz else { continue };
        finding.add(fact!(
            "{accept}: {delay} after the request, {frequency}, acknowledged",
            accept = &answer.sending,
            delay = Value::Micros(answer.delay.slot_us().unwrap_or_default()),
            frequency = Value::Frequency(hz)
        ));
    }
    finding.add(fact!(
        "link margin of the requests: {margin} at the least",
        margin = Value::db(least)
    ));
    if let Some(attempt) = case.last_join().and_then(|index| case.node.attempts.get(index)) {
        finding.add(fact!("{request}: after this request the node joined", request = attempt));
    }
    let own = own_windows(case);
    if let Some(window) = own.first() {
        finding.add(
            fact!(
                "by its console the first window opens {window} after the end of transmission: in \
                 time ({said})",
                window = Value::Micros(window.after_us),
                said = window.line.clone()
            )
            .said_by(Speaker::Node),
        );
    }
    finding.add(fact!(
        "would decide: {log}a logic trace of its radio, a try next to a second gateway (not closer \
         than a few metres)",
        log = if own.is_empty() { "the node's own log of its windows, " } else { "" }
    ));
    Some(finding)
}

const PAGE: &str = r#"# good-accepts-not-taken-by-the-node
Several accepts were right in all that can be checked, and the node asks
again after each.

## What is seen
At the server: joins that seem to succeed, one new DevAddr after the other.
At the gateway: request, accept sent, request. At the node: "no accept
received", or nothing.

## Why it happens
Something on the node's receiving side: windows opened at the wrong time,
receiver on another frequency, rate, polarity or sync word, antenna switch
not turned to receive, an interrupt missed, an oscillator that is off, a
supply that is weak just then; or a stack that drops what it receives.

## How to be sure
Rungs 1 to 9 hold for at least two accepts, better four, in RX1 and RX2. The
margin is sound: SNR of the request less the floor (SF7 -7.5, SF8 -10, SF9
-12.5, SF10 -15, SF11 -17.5, SF12 -20 dB) is well above 10 dB, because the
way down may be worse; one report puts it 15 dB below. No data frame of any
of the DevAddrs appears.

One lost accept at 1 dB of margin is ordinary and no fault. From the gateway
the part at fault cannot be told: "clock" needs the node's log. JoinNonce
and version rules are tested before. A second gateway that sends at the same
moment, or one that sent through a bad antenna, is outside the node and hard
to exclude.

## What to do
1. Log in the node: end of transmission, window open, frequency, rate,
   result.
2. Trace the radio's interrupt line with a logic analyser.
3. Try at 5 to 20 m and next to another gateway.
4. Do not simply widen the node's clock-error allowance: a widened first
   window can run into the second at slow rates, and hears more noise.

## Example
Probe-12, EU868: four requests at SF7, SNR 9 dB, margin 16.5 dB. Four
accepts, two at 5 s and two at 6 s, all acknowledged, all openable with its
key. It repeats each time. Its log later shows that the receiver was never
switched to inverted I/Q.

## Source
RP002-1.0.1, 2.3; floors: LoRa transceiver data sheets; the reasoning is
common practice.
"#;
