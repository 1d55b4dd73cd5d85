//! Cause `backhaul-too-slow-for-the-windows`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        gateway::{Case, Rung, clocks::ClockFault},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::BackhaulTooSlowForTheWindows,
    what: "the way to the server and back takes longer than the first window allows",
    places: &[Place::Gateway(Rung::Clock), Place::Gateway(Rung::Sends)],
    kind: Kind::Exact,
    checks: &[Check::Gateway(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let slow = case.clock.iter().find_map(|fault| match fault {
        ClockFault::Slow(slow) => Some(slow),
        _ => None,
    })?;
    let mut finding = Finding::new(
        Certainty::Certain,
        fact!(
            "the way from {gateway} to the server and back takes {round_trip}: downlinks for a window after 1 s come \
             too late",
            gateway = case.title(),
            round_trip = Value::About(slow.round_trip_us)
        ),
        "set RxDelay of all nodes of this gateway above the round trip and the time for which the server collects \
         copies, to 5 s as a rule; or make the line faster",
    );
    finding.add(fact!(
        "{downlinks} for a slot at 1 s: all of them came late, by {late} or more",
        downlinks = Value::Count(slow.late as u64, "downlink"),
        late = Value::About(slow.late_us)
    ));
    finding.add(fact!(
        "{downlinks} for later slots came in time",
        downlinks = Value::Count(slow.in_time as u64, "downlink")
    ));
    Some(finding)
}

const PAGE: &str = r"# backhaul-too-slow-for-the-windows
The way from the gateway to the server and back takes longer than a node waits
before its first window.

## What is seen
At the gateway: downlinks for data are refused as late (TOO_LATE, in some
TOO_EARLY). Join-Accepts go out: they have 5 s. At the nodes: joins succeed,
confirmed frames are never acknowledged, MAC commands never arrive.

## Why it happens
A satellite link adds some 0.6 s to each round trip. A mobile link that sleeps
between datagrams, a VPN over two continents, a line that is full.

## How to be sure
The round trip of PUSH_DATA and PUSH_ACK is above 0.7 s in the middle, every
PULL_RESP for a slot at 1 s comes after it, and those for 5 s and 6 s come in
time.

If PUSH_ACK come after 30 ms and PULL_RESP seconds later, the server takes too
long: that is downlink-reached-the-gateway-too-late, and no matter of the
line. One late downlink is nothing.

## What to do
1. Set RxDelay above the round trip plus the time for which the server
   collects copies: 5 s for a satellite link. It is sent in the Join-Accept,
   so nodes take it at their next join.
2. Make the line faster where that is possible.
3. Use RX2 as a stopgap where it is in time.

## Example
The hut's satellite link takes 1.3 s. Each PULL_RESP arrives 1.55 s after its
uplink, for a slot at 1 s. With RxDelay 5 all are sent.

## Source
LoRaWAN 1.0.4, 3.3 (windows), 6.2.6 (RxDelay); the gateway packet-forwarder
protocol, `txpk_ack`.
";
