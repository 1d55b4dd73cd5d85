//! Cause `gateway-radio-does-not-reach-a-channel`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::ladder::gateway::{self, misconfigured};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::GatewayRadioDoesNotReachAChannel,
    what: "a channel lies further from its radio than the radio reaches",
    places: &[Place::Gateway(gateway::Rung::OnPlan)],
    kind: Kind::Exact,
    checks: &[Check::Gateway(misconfigured::radio_does_not_reach)],
    page: PAGE,
};

const PAGE: &str = r"# gateway-radio-does-not-reach-a-channel
A channel of the configuration is so far from the centre of its radio that
the radio does not pass it.

## What is seen
At the gateway: the forwarder may refuse to start, or it starts and hears
nothing on some channels. At the nodes: every uplink on these channels is
lost, so that of eight channels five work and three never do.

## Why it happens
A radio passes a band of some 0.9 to 1.6 MHz around its centre, and each
chain is tuned within it. Someone set all chains on one radio, moved the
channels and not the centres, or copied offsets from a configuration with
other centres.

## How to be sure
For each enabled chain: the offset (if) against half of what the radio
passes, less half the bandwidth of the channel. For channels of 125 kHz that
is 400 kHz with the older radio chain and 737.5 kHz with the newer one, for
500 kHz it is 300 and 550 kHz. Beyond the second number no radio reaches:
certain. Between the two it depends on the radio: possible. On the limit it
is fine.

## What to do
1. Move the centres (freq) so that each chain is within 400 kHz of its own
   radio: two radios cover eight channels at 200 kHz.
2. Set the offsets (if) again: channel less centre.
3. Restart the forwarder and read its first lines.

## Example
US915, sub-band 2, all eight chains on radio 0 with its centre on 904.1 MHz:
904.9, 905.1 and 905.3 MHz are 800, 1000 and 1200 kHz away.

## Source
The limits: constants of two public drivers, from memory.
";
