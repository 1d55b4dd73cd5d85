//! Cause `gateway-set-to-another-port`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::ladder::gateway::{self, misconfigured};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::GatewaySetToAnotherPort,
    what: "the gateway's configuration names another UDP port than the roster",
    places: &[
        Place::Gateway(gateway::Rung::UplinkAcknowledged),
        Place::Gateway(gateway::Rung::DownlinkOpen),
    ],
    kind: Kind::Exact,
    checks: &[Check::Gateway(misconfigured::another_port)],
    page: PAGE,
};

const PAGE: &str = r"# gateway-set-to-another-port
serv_port_up or serv_port_down of the gateway's own configuration is not the
UDP port that the roster has for this gateway.

## What is seen
At the gateway: PUSH_DATA or PULL_DATA leaves and is never acknowledged; the
statistics say ackr 0.0 for the uplink flow. The host may answer with an
ICMP port unreachable. At the server: nothing of the uplinks, or uplinks and
no way down.

## Why it happens
Servers and guides use 1700 or 1680, and some have two ports, one for each
flow. A forwarder's shipped configuration has one of these, and only one of
the two members was corrected.

## How to be sure
The two numbers differ: that is certain, and also which flow it concerns.
Which number is right the server's operator knows. A roster without
uplink-port and downlink-port says nothing. Where a capture shows that the
flow is acknowledged, the file is not in force or the roster is out of date,
and this cause is not given.

## What to do
1. Ask the server's operator for both ports.
2. Correct the one that differs in the gateway's file, or on the roster.
3. Restart the forwarder; look for PUSH_ACK and PULL_ACK.

## Example
The file of the orchard's gateway has serv_port_up 1680 and serv_port_down
1700. The server listens on 1700 for both: PULL_DATA is acknowledged,
PUSH_DATA is not, and no uplink arrives.

## Source
The gateway packet-forwarder protocol, sections 3 and 5; ports: common
practice.
";
