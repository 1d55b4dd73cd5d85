//! Cause `node-hops-outside-the-gateway-sub-band`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::ladder::join;

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::NodeHopsOutsideTheGatewaySubBand,
    what: "the node uses channels of other sub-bands than the gateway's",
    places: &[Place::Join(join::Rung::OnPlan)],
    kind: Kind::Exact,
    checks: &[Check::Join(join::on_plan::outside_sub_band)],
    page: PAGE,
};

const PAGE: &str = r#"# node-hops-outside-the-gateway-sub-band
The node uses channels of all sub-bands while the gateway listens to one, so
most of what it sends is lost.

## What is seen
At the node: it joins after many attempts, then reports and seems content.
At the gateway: all that is heard is strong and lies in eight channels. At
the server: FCnt jumps; about one data frame in eight arrives. In the
capture: no CFList in the accept, or one that the node cannot use.

## Why it happens
After a reset a US915 or AU915 node has all 72 channels enabled. A usual
gateway hears 8 of the 64 narrow ones and one of the eight wide ones. The
cure is a mask: by CFList type 1 in the Join-Accept, or by LinkADRReq. A
node of regional parameters 1.0.2 or older ignores the CFList, and some
servers send none.

## How to be sure
Take all FCnt values of one session: the share heard is (number of different
FCnt) / (last - first + 1). Compare it with |common| / |enabled|: 8/64 =
12.5 % for 125 kHz rates. For Join-Requests, a pass over the eight groups
and one wide channel meets the gateway once in nine tries on a narrow
channel and once in 72 on the wide one: 9 in 72, one in eight. Hearing one
join in eight is by design and no fault by itself, if a mask follows.

Coverage would show weak frames, too. Interference does not choose the
channels 8 to 15. A duty-cycle limit does not make FCnt jump: what is not
sent is not counted.

## What to do
1. Let the server send CFList type 1 with the gateway's mask, or LinkADRReq
   with the first downlink (ChMaskCntl 7, then 0, in one frame).
2. Or limit the node to the sub-band in its firmware: for sub-band 2 the
   words FF00 0000 0000 0000 0002.
3. Check that an accepted mask is kept after a reset.

Few channels may be ruled differently from many: check the local rules on
dwell time and power.

## Example
US915, gateway on sub-band 2. Probe-07 sends FCnt 0 to 47, 48 frames; heard
are 6, all between 903.9 and 905.3 MHz at -80 dBm. 6/48 = 12.5 %. The accept
was 17 octets long: no CFList. After a LinkADRReq with the mask above all
frames arrive.

## Source
RP002-1.0.1, 2.5.2 (join channels), 2.5.4 (CFList), Table 15 (ChMaskCntl);
gateways on one sub-band are common practice.
"#;
