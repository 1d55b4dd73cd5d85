//! Cause `receive-settings-refused`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::fact,
    ladder::{
        finding::Finding,
        session::{self, Case, Story, faults::Why, refusals},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::ReceiveSettingsRefused,
    what: "the node refuses the same receive settings again and again",
    places: &[Place::Session(session::Rung::Settled)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

/// Requests that set where the node listens.
const OWN: [&str; 4] = ["RXParamSetupReq", "DlChannelReq", "PingSlotChannelReq", "BeaconFreqReq"];

fn check(_: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    OWN.into_iter().find_map(|name| {
        let own = refusals::of(story, name);
        if own.len() < refusals::AGAIN {
            return None;
        }
        // Used all the same, it is another fault, and this one's cause is clear.
        let is_used = story.faults.iter().any(|fault| matches!(fault.why, Why::NotHeld(_)));
        if is_used {
            return None;
        }
        refusals::finding(
            story,
            &own,
            fact!(
                "the node refuses the same {request} {times} times; the settings before are in force",
                request = name,
                times = own.len()
            ),
            "ask for a frequency, a data rate and an offset that the plan and the node have",
        )
    })
}

const PAGE: &str = r"# receive-settings-refused
The server asks for receive settings that the node cannot use, and the node
refuses each time.

## What is seen
At the server: a command that never settles; every uplink is followed by a
downlink. At the node: the answer in every frame, with a bit 0. Both go on
with the old settings, so data flows.

## Why it happens
RXParamSetupReq, DlChannelReq, PingSlotChannelReq or BeaconFreqReq names a
frequency outside the node's band, a data rate that is not one for
downlinks, or an RX1DROffset that the plan does not have. One bit 0 voids
the complete request.

## How to be sure
Pair request and answer. RXParamSetupAns: bit 2 offset, bit 1 RX2 data rate,
bit 0 frequency. DlChannelAns: bit 1 the uplink channel exists, bit 0
frequency. PingSlotChannelAns: bit 1 data rate, bit 0 frequency. The same
request, the same refusal, three times: certain.

If downlinks use the values all the same, see
server-uses-settings-the-node-does-not-hold. Refused once and then corrected
is not a fault.

## What to do
1. Do as the bit says: another frequency, another data rate.
2. Let the server stop after some refusals.

## Example
EU868. RXParamSetupReq with RX2 on 862.0 MHz. Answer 06, five times: bit 0,
the frequency is outside of 863 to 870 MHz.

## Source
LoRaWAN 1.0.4, p. 33; 1.1, 5.4, 5.7; 1.0.4, p. 65 (class B).
";
