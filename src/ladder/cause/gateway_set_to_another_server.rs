//! Cause `gateway-set-to-another-server`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::ladder::gateway::{self, misconfigured};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::GatewaySetToAnotherServer,
    what: "the gateway's configuration names another server than the roster",
    places: &[Place::Gateway(gateway::Rung::UplinkAcknowledged)],
    kind: Kind::Exact,
    checks: &[Check::Gateway(misconfigured::another_server)],
    page: PAGE,
};

const PAGE: &str = r"# gateway-set-to-another-server
The server_address of the gateway's own configuration is not the server that
the roster has for this gateway.

## What is seen
At the gateway: datagrams leave, and no acknowledgement comes, or the name
cannot be resolved. At the server: the gateway is shown as never seen. At
the nodes: attempts without an answer.

## Why it happens
The name was typed by hand (0 for o, 1 for l, a letter too few), copied from
another network's guide, left at the value that the gateway was shipped
with, or the server has moved since.

## How to be sure
The two names differ: that is certain. A difference in upper and lower case,
a final dot, or a port after the name is none. An address on one side and a
name on the other cannot be compared without a resolver, and are not. Where
a capture shows that the flow is acknowledged, the file is not in force or
the roster is out of date, and this cause is not given.

## What to do
1. Ask the server's operator for the name, and compare it letter by letter.
2. Correct server_address in the gateway's file, or server on the roster.
3. Restart the forwarder, and look for PUSH_ACK in its statistics (ackr).

## Example
The file has lns.0rchard.example, the roster lns.orchard.example: letter 5
is the digit 0, not the letter o. The name does not resolve, and nothing
ever leaves the gateway.

## Source
The gateway packet-forwarder protocol; its configuration: common practice.
";
