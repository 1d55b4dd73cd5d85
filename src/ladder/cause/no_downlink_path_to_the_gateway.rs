//! Cause `no-downlink-path-to-the-gateway`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::ladder::{gateway, join};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::NoDownlinkPathToTheGateway,
    what: "the uplink flow is acknowledged, the downlink flow is not",
    places: &[Place::Gateway(gateway::Rung::DownlinkOpen), Place::Join(join::Rung::Answered)],
    kind: Kind::Exact,
    checks: &[Check::Gateway(gateway::downlink_open::no_path), Check::Join(join::answered::no_downlink_path)],
    page: PAGE,
};

const PAGE: &str = r#"# no-downlink-path-to-the-gateway
The uplink flow of the gateway is acknowledged, its downlink flow is not, so
no accept can reach it.

## What is seen
At the server: Join-Requests arrive and accepts are made, often with a note
that no route to the gateway is known. At the gateway: PUSH_DATA gets
PUSH_ACK, PULL_DATA gets no PULL_ACK, and no PULL_RESP arrives. At the
nodes: attempts without answer.

## Why it happens
The UDP protocol has two flows, often on two sockets with two port settings.
PULL_DATA opens the way back through firewalls and address translation, and
must be repeated. A firewall that drops one flow, a wrong downlink port, or
a pause between PULL_DATA longer than the translation table keeps, cuts the
way down only.

## How to be sure
Count by token: PUSH_ACK for PUSH_DATA, PULL_ACK for PULL_DATA. All of the
first and none of the second, over several keep-alive periods, is certain.
If some PULL_ACKs come, look at the times: downlinks fail that fall into
gaps.

First be sure that the capture sees both directions. A `stat` with dwnb
above zero, or a TX_ACK, while no PULL_RESP is in the capture, shows half a
capture: then nothing may be said about the path. A server that does not
want to answer still sends PULL_ACK. A gateway of the station protocol has
one connection for both ways; this cause does not apply.

## What to do
1. Set the downlink port of the forwarder to the one the server listens on.
2. Let the firewall pass the flow outward and its answers.
3. Shorten the keep-alive, so that it is well below the time the translation
   keeps an idle flow.
4. Look for PULL_ACK, then for the first PULL_RESP.

## Example
In 60 s the orchard gateway sends four PUSH_DATA, all acknowledged within
40 ms, and six PULL_DATA, one each 10 s, none acknowledged. Its `stat` says
ackr 100.0, dwnb 0. The router's rule names one port of two.

## Source
The gateway packet-forwarder protocol, sections 3-6.
"#;
