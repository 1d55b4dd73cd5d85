//! Cause `node-silent`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    intake::Speaker,
    intake::console::speaks_of_sending,
    ladder::{
        finding::Finding,
        join::{self, Case, heard::join_filter},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::NodeSilent,
    what: "the node is known to transmit, and nothing of it was received",
    places: &[Place::Join(join::Rung::Heard)],
    kind: Kind::Residual,
    checks: &[Check::Join(check)],
    page: PAGE,
};

/// Lines of the node's log that are quoted.
const QUOTED: usize = 4;

fn check(case: &Case<'_>) -> Option<Finding> {
    // A console by itself does not show what a gateway hears.
    if !case.node.told.is_empty() && case.trace.gateways.is_empty() {
        return None;
    }
    let silent = case.node.attempts.is_empty()
        && case.node.misshapen.is_empty()
        && case.node.sessions.iter().all(|s| s.frames.is_empty())
        && case.node.unverified.is_empty();
    if join_filter(case).is_some() {
        return None;
    }
    if !silent || case.is_abp() || !known_to_transmit(case) || !case.hears_gateways() {
        return None;
    }
    let mut finding = Finding::new(
        Certainty::Likely,
        "the node's log shows that it transmits, and no gateway of the capture received anything \
         of it",
        "on the node check antenna and its connection (never transmit into an open antenna port), \
         the radio's frequency, sync word (public, 0x34) and polarity; then repeat within sight of \
         the gateway, but not closer than a few metres",
    );
    for line in case.firmware().into_iter().flat_map(|f| &f.log).take(QUOTED) {
        let said = fact!("node's log: {line}", line = line.clone());
        finding.add(said.said_by(Speaker::Node));
    }
    let received = case.trace.gateways.values().map(|gateway| gateway.crc_good).sum();
    finding.add(fact!(
        "other nodes' frames: {receptions}",
        receptions = Value::Count(received, "reception")
    ));
    Some(finding)
}

/// Whether the node's own log shows that it transmits.
fn known_to_transmit(case: &Case<'_>) -> bool {
    case.firmware().is_some_and(|f| f.log.iter().any(|line| speaks_of_sending(line)))
}

const PAGE: &str = r"# node-silent
The node is known to transmit, the capture covers its attempts, and no
gateway received anything of it.

## What is seen
At the node: the stack reports a join attempt and then a failure, often with
no more than a time-out. At the gateway: other nodes are received and its
statistics go on counting, but no Join-Request of this DevEUI appears. At
the server: nothing, not even a refusal.

## Why it happens
The signal does not leave the node, or leaves it in a form that the gateway
does not demodulate. Common reasons: antenna missing or for another band;
antenna switch not driven; supply that drops in transmit; private sync word
(0x12 in place of 0x34); inverted I/Q on the uplink; a stack that waits in
back-off or for its duty-cycle budget.

## How to be sure
- First show that the gateway was listening: frames of any other node, or
  rising counters, before and after the attempt.
- Compare the node's channel list with the gateway's. No common one:
  channel-plans-do-not-overlap.
- Receptions with a bad CRC at those times: gateway-heard-only-bad-crc.
- A node may be silent by rule. A 23 byte Join-Request at SF12 lasts
  1.483 s; a 1 % duty cycle then asks for about 147 s of silence, and the
  join back-off adds to it.

Certain is only that nothing was received; the part at fault cannot be told
from the gateway.

## What to do
1. Read the node's log: did the radio report the end of a transmission?
2. Fit the right antenna before any transmission, and try at 5 to 20 m: too
   near overloads the gateway.
3. Check region, channel mask and public network setting in the firmware;
   some stacks reset the last one when the region is set.
4. Watch the channel with a second receiver (normal I/Q, sync word 0x34).

Keep test transmissions within the power and airtime that local rules allow.

## Example
Orchard probe-03 (DevEUI 02-00-00-FF-FE-0C-21-03) logs six attempts between
06:00 and 06:30. In the same half hour the gateway receives 41 frames of
four other probes on 868.1, 868.3 and 868.5 MHz. Of probe-03 there is none.
Its antenna cable is plugged into the connector of the short-range radio.

## Source
RP002-1.0.1, 2.4 and chapter 3 (sync word, I/Q); LoRaWAN, chapter on
retransmission back-off; the rest is common practice.
";
