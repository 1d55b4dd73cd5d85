//! Cause `gateway-refuses-the-frequency`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::ladder::{gateway, join};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::GatewayRefusesTheFrequency,
    what: "the gateway refuses a lawful frequency",
    places: &[Place::Gateway(gateway::Rung::Sends), Place::Join(join::Rung::Sent)],
    kind: Kind::Exact,
    checks: &[Check::Gateway(gateway::sends::refuses_frequency), Check::Join(join::sent::frequency)],
    page: PAGE,
};

const PAGE: &str = r#"# gateway-refuses-the-frequency
The gateway refuses a frequency that is right for the window.

## What is seen
At the gateway: TX_ACK with TX_FREQ. At the server: a failed downlink. At
the node: windows empty. Often only RX2 or only some RX1 channels fail.

## Why it happens
The transmit range in the gateway's configuration is too narrow: written for
the uplink channels, for an older set of channels, or for one of two radios.
In US915 uplinks are at 902 to 915 MHz and downlinks at 923 to 928 MHz; a
range copied from the receive side excludes every downlink.

## How to be sure
Compute RX1 and RX2 from the request and the plan. The txpk has one of them,
exactly, and the answer is TX_FREQ: the cause is certain and lies in the
gateway. If the txpk is not lawful, it is
accept-on-a-frequency-the-gateway-cannot-send, and the server is to be
mended first.

See which transmit chain was asked for (`rfch`): the second one can have
another range or be switched off for sending. A frequency given with
rounding errors just beyond a limit is refused, too. The node is not at
fault.

## What to do
1. Set the range of the transmit chain to the region's whole downlink band.
2. Let the server use the chain that may send.
3. Restart the forwarder and look for an acknowledgement without error.
4. Do not open the range beyond what local rules and the filter allow.

## Example
US915. Probe-07 asks on channel 11 (904.5 MHz); 11 mod 8 = 3; RX1 is 923.3 +
1.8 = 925.1 MHz. The txpk says 925.1, TX_ACK says TX_FREQ. The range in the
gateway: 902.0 to 915.0 MHz. With 923.0 to 928.0 MHz the accept is sent.

## Source
RP002-1.0.1, 2.5 Table 18; the gateway packet-forwarder protocol,
`txpk_ack`.
"#;
