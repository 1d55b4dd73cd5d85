//! Cause `downlink-reached-the-gateway-too-late`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::ladder::{join, session};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::DownlinkReachedTheGatewayTooLate,
    what: "the datagram came to the gateway after its slot",
    places: &[Place::Join(join::Rung::Sent), Place::Session(session::Rung::Sent)],
    kind: Kind::Exact,
    checks: &[Check::Join(join::sent::too_late), Check::Session(session::sent::too_late)],
    page: PAGE,
};

const PAGE: &str = r#"# downlink-reached-the-gateway-too-late
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
"#;
