//! Cause `node-silent`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::ladder::join;

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::NodeSilent,
    what: "the node is known to transmit, and nothing of it was received",
    places: &[Place::Join(join::Rung::Heard)],
    kind: Kind::Residual,
    checks: &[Check::Join(join::heard::node_silent)],
    page: PAGE,
};

const PAGE: &str = r#"# node-silent
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
- A node may be silent by rule. A 23 octet Join-Request at SF12 lasts
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
"#;
