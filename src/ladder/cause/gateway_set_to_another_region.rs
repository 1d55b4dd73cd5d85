//! Cause `gateway-set-to-another-region`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::ladder::gateway::{self, configured::channels};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::GatewaySetToAnotherRegion,
    what: "the gateway listens to the channels of another region than the roster says",
    places: &[Place::Gateway(gateway::Rung::OnPlan)],
    kind: Kind::Exact,
    checks: &[Check::Gateway(channels::another_region)],
    page: PAGE,
};

const PAGE: &str = r#"# gateway-set-to-another-region
The gateway listens to channels of one region, and the roster says another.

## What is seen
At the gateway: hardly a reception, and none of the nodes that stand next to
it; or receptions that are all on channels of another plan. At the server:
uplinks with frequencies that it refuses. At the nodes: no answer.

## Why it happens
The configuration was taken for another country, or for another group of a
plan that has several (AS923), or the gateway was moved. Or the gateway is
right, and the record of it at the server has the wrong region.

## How to be sure
From the gateway's own configuration: each channel is the freq of a radio
plus the if of a chain; none of them is a channel of the roster's plan, and
all are channels of another. That is certain, except where both plans share
the band and the network may have added channels (AS923 and AU915 share 923.2
and 923.4 MHz): then both are named, and it is likely.

One node on another plan is node-transmits-in-another-region. Which side is
wrong is for the place to decide, not for the frames.

## What to do
1. Decide which region holds where the gateway stands.
2. Take the configuration for that region, and set the same on the server
   and in the nodes.
3. Mind the antenna and the filter: they are made for one band.

## Example
The roster says AS923-1. The radios are centred on 867.5 and 868.3 MHz, and
the eight chains are 867.1 to 868.5 MHz: the channels of EU868.

## Source
RP002-1.0.5, the channel plans; the configuration: common practice.
"#;
