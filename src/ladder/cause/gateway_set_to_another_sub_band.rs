//! Cause `gateway-set-to-another-sub-band`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::ladder::gateway::{self, configured::channels};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::GatewaySetToAnotherSubBand,
    what: "the gateway listens to another sub-band than the roster says",
    places: &[Place::Gateway(gateway::Rung::OnPlan)],
    kind: Kind::Exact,
    checks: &[Check::Gateway(channels::another_sub_band)],
    page: PAGE,
};

const PAGE: &str = r#"# gateway-set-to-another-sub-band
The region is right, but the gateway listens to another sub-band of it than
the roster says.

## What is seen
At the gateway: some receptions, by nodes that try all channels; none of the
nodes that are kept to the roster's sub-band. At the nodes: joins that work
only now and then, later data that is mostly lost.

## Why it happens
Plans with 64 or 96 uplink channels are divided into sub-bands of eight, and
a gateway with one receiver board hears one of them. Configurations come for
each sub-band; guides count from 0 or from 1.

## How to be sure
From the gateway's own configuration: each channel is the freq of a radio
plus the if of a chain, and all of them are channels of one sub-band that is
not the roster's. That is certain. Where the roster states no sub-band, any
is right. Some channels of the roster's sub-band among them is
gateway-lacks-channels-of-its-plan.

## What to do
1. Ask the network which sub-band it uses; do not go by a number alone: take
   the frequencies.
2. Set the gateway's radios to it, and the same channel mask in the nodes.
3. Where two sub-bands are needed, use a gateway with two boards, or two.

## Example
US915, sub-band 2 on the roster: 903.9 to 905.3 MHz. The file's radios are
centred on 902.7 and 903.5 MHz, the chains are 902.3 to 903.7 MHz:
sub-band 1.

## Source
RP002-1.0.5, the channel plans; sub-bands: common practice.
"#;
