//! Cause `cflist-opens-the-wrong-channels`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::ladder::join;

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::CflistOpensTheWrongChannels,
    what: "the CFList leads the node away from the gateway",
    places: &[Place::Join(join::Rung::Proven)],
    kind: Kind::Exact,
    checks: &[Check::Join(join::proven::away::cflist_wrong_channels)],
    page: PAGE,
};

const PAGE: &str = r#"# cflist-opens-the-wrong-channels
The CFList of the accept leads the node to channels that the gateway does
not receive.

## What is seen
At the node: joined; it sends and gets nothing back. At the gateway: the
request was heard, the data is not. At the server: a session without
uplinks; after some time the node joins anew, and again falls silent.

## Why it happens
The masks were written with the wrong sub-band, or with the octets of each
mask exchanged: ChMask is 16 bits, least significant octet first, so
channels 8 to 15 are 00 FF on the air, not FF 00. In type 0 lists the
frequencies were meant for another gateway, or group.

## How to be sure
Open the accept, decode the list and intersect it with the gateway's
channels, the 500 kHz word (ChMask4) included. An empty intersection and no
data after several joins is as good as certain. Then exchange the octets of
each mask: if that gives the gateway's sub-band, it names the slip.

A partly wrong list loses a share of frames, not all. "Keys differ" is not
shown by silence: there is no frame whose MIC could fail. A node of regional
parameters 1.0.2 ignores the list. In dynamic plans the default channels
stay open, so the node is still heard on them.

## What to do
1. Let the server send the gateway's masks: for sub-band 2 the 16 octets
   00FF 0000 0000 0000 0200 0000000000 01.
2. Let the node join again; an old session keeps its wrong mask.
3. Check the same masks in LinkADRReq, which often come from one setting.

## Example
US915, gateway on channels 8 to 15 and 65. The list in the accept begins
FF00 ... 0200: ChMask0 = 00FF, channels 0 to 7; ChMask4 = 0002, channel 65.
Of 200 data frames not one is heard, since the probe does not use DR4.
Written 00FF it is ChMask0 = FF00: all are.

## Source
RP002-1.0.4, 2.3.1-2.3.2; RP002-1.0.1, 2.5.4; LoRaWAN 1.0.4 (octet order).
"#;
