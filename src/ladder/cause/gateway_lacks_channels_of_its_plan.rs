//! Cause `gateway-lacks-channels-of-its-plan`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::ladder::gateway::{self, misconfigured};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::GatewayLacksChannelsOfItsPlan,
    what: "channels of the plan have no enabled chain in the configuration",
    places: &[Place::Gateway(gateway::Rung::OnPlan)],
    kind: Kind::Exact,
    checks: &[Check::Gateway(misconfigured::lacks_channels)],
    page: PAGE,
};

const PAGE: &str = r"# gateway-lacks-channels-of-its-plan
The gateway's configuration leaves channels that its nodes use without a
chain that receives them.

## What is seen
At the gateway: receptions on some channels of the plan, never on the
others. At the server: gaps in FCnt, a constant share of the frames lost
however strong the others are. At the nodes: a join takes several attempts.

## Why it happens
A chain has enable false, left from a test; its radio is switched off; two
chains were set to one frequency by copying a line; or the offsets were moved
and one channel fell off the end.

## How to be sure
The channels of the sub-band (plans that have them), or those on which every
node joins, less those of enabled chains: what remains is received by
nobody. That is certain where the file sets all eight chains; a file that
sets fewer may be overridden by another, and nothing is said. A dynamic plan
may do with fewer than eight channels, as long as the join channels are
there. The chain for 500 kHz counts only in plans that have such channels,
and only where it is switched off. The gateway works otherwise: what it hears
it forwards.

## What to do
1. Enable the chains named, and their radio.
2. Where two chains are on one frequency, set one to the channel that lacks.
3. Restart the forwarder, and look for receptions on these channels.

## Example
CN470, sub-band 2. chan_multiSF_5, 6 and 7 have enable false: 472.9, 473.1
and 473.3 MHz are not received, and three of eight uplinks are lost.

## Source
RP002-1.0.5, the channel plans; the configuration: common practice.
";
