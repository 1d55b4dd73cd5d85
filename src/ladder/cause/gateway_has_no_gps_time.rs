//! Cause `gateway-has-no-gps-time`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::ladder::{gateway, session};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::GatewayHasNoGpsTime,
    what: "timed downlinks are refused for lack of GPS time",
    places: &[Place::Gateway(gateway::Rung::Sends), Place::Session(session::Rung::Sent)],
    kind: Kind::Exact,
    checks: &[Check::Gateway(gateway::sends::no_gps), Check::Session(session::sent::no_gps)],
    page: PAGE,
};

const PAGE: &str = r"# gateway-has-no-gps-time
Timed downlinks are refused because the gateway has no GPS time.

## What is seen
At the server: Class B downlinks or multicasts fail. At the gateway: TX_ACK
with GPS_UNLOCKED; often no beacon either. At the node: join and Class A
data are in order, ping slots stay empty.

## Why it happens
A downlink with `tmms` (GPS time in milliseconds) needs a gateway that knows
that time exactly. Antenna without view of the sky, receiver not configured,
or lock not yet found after a start. Class A needs none of it: its slots are
counted from the uplink.

## How to be sure
GPS_UNLOCKED is certain evidence for the frame it answers. `time` and `tmms`
missing in the gateway's receptions support it. If only some are refused,
look at the hours: lock comes and goes.

It is not lateness or earliness, and the node is not asleep: nothing was
sent. A join is not touched by it. If the gateway sends beacons, it has
time, and the refusal has another reason. In a capture without downlink side
nothing can be said.

## What to do
1. Give the GPS antenna a free view of the sky, and wait for the lock after
   a start.
2. Check the configuration: device, rate, whether the forwarder uses it.
3. Until then use Class A answers, or Class C if the node's supply bears it.
4. Class B nodes should fall back to Class A when no beacon comes; check
   this.

## Example
The orchard's valve is Class B. Twelve ping slot commands with tmms, all
GPS_UNLOCKED; its Class A answers go out. The gateway was moved into the
tractor shed under a sheet metal roof. In the window it finds its lock after
a few minutes.

## Source
The gateway packet-forwarder protocol, `txpk_ack`, `tmms`; LoRaWAN 1.0.4,
p. 70 (beacon time); 1.1, 13.1.
";
