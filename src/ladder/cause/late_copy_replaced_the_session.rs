//! Cause `late-copy-replaced-the-session`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::ladder::session;

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::LateCopyReplacedTheSession,
    what: "a late copy of the request was taken for a new join",
    places: &[Place::Session(session::Rung::Authentic)],
    kind: Kind::Exact,
    checks: &[Check::Session(session::copies::late)],
    page: PAGE,
};

const PAGE: &str = r#"# late-copy-replaced-the-session
A copy of the request through a slow gateway was taken for a new join, and
its session replaced the right one.

## What is seen
At the server: two joins a few seconds apart; after that every data frame
has a wrong MIC or an unknown DevAddr. At the node: joined, content, never
heard. At the gateways: each heard one transmission.

## Why it happens
The server collects copies for a short time, some hundred milliseconds. A
gateway with a slow backhaul delivers its copy seconds later. If the
DevNonce of a request just accepted is not refused, the server answers
again, makes a new DevAddr and new keys, and drops the old session. The node
has long taken the first accept and does not listen.

## How to be sure
Two PUSH_DATA with identical octets from different gateways, seconds apart
in arrival, and an accept for each. The wall-clock time of reception
(`time`, if the gateways have it) is equal: one transmission. Data
authenticates under the first accept and not under the second, while the
record has the second.

It is not a second join of the node: that has another DevNonce. It is no
attack: a copy a few seconds late is explained by the way. A ghost copy
comes through the same gateway within microseconds. If the data fits the
second accept, the node did join again and all is well.

## What to do
1. Let the server refuse a DevNonce that it has just accepted, in every
   version.
2. Let it keep the old session until an uplink under the new one
   authenticates, as the standard has it for 1.0.3.
3. Improve the slow backhaul, or take that gateway off.
4. To recover, let the node join once more.

## Example
Probe-09, DevNonce 5C21. Copy by the shed: 06:00:00.040, accept with DevAddr
020C2109. Copy by the hill: 06:00:03.910, accept with DevAddr 020C4433. Data
of 020C2109 at 06:10 authenticates under the first accept; the server says
"unknown".

## Source
LoRaWAN 1.0.3, p. 35 (values remembered, old session kept); 1.0.4, p. 45-46.
"#;
