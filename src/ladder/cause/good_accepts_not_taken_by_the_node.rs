//! Cause `good-accepts-not-taken-by-the-node`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::ladder::join;

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::GoodAcceptsNotTakenByTheNode,
    what: "good accepts at a sound margin, and the node asks again",
    places: &[Place::Join(join::Rung::Proven)],
    kind: Kind::Residual,
    checks: &[Check::Join(join::proven::receiving::not_taken)],
    page: PAGE,
};

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
3. Try at 5 to 20 m and beside another gateway.
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
