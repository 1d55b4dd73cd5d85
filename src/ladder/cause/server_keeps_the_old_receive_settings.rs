//! Cause `server-keeps-the-old-receive-settings`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::ladder::{
    finding::Finding,
    session::{self, Case, Story, aim::Setting, faults::Why, timely::told},
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::ServerKeepsTheOldReceiveSettings,
    what: "the node took new receive settings, and the server sends by the old ones",
    places: &[Place::Session(session::Rung::Timely)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

fn check(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let own = |fault: &session::faults::Fault| {
        matches!(
            fault.setting,
            Setting::Rx1Frequency | Setting::Rx1Rate | Setting::Rx2Frequency | Setting::Rx2Rate
        ) && matches!(fault.why, Why::KeepsOld(_))
    };
    told::finding(
        case,
        story,
        own,
        "apply RXParamSetupReq or DlChannelReq on the server as soon as the node answers that it took it",
    )
}

const PAGE: &str = r"# server-keeps-the-old-receive-settings
The node took new receive settings, the server heard its answer, and goes on
with the old ones.

## What is seen
At the server: the request is noted as answered; downlinks are sent. At the
node: windows stay empty; the answer is in every uplink, since no downlink
ends it.

## Why it happens
RXParamSetupReq and DlChannelReq were sent by one part of the server, and
the scheduler does not learn of the answer. Or the answer was taken for a
refusal. After a restart the session may come back without them.

## How to be sure
Find the request and the answer: all status bits 1 (07, or 03). From the
next uplink on the node listens by the new values. Downlinks that have the
old value, and would be right by it, are the proof. Two decide.

While the answer is on its way, or in an uplink that no gateway heard, the
server cannot know: then it is right to use the old values. A refused
request changes nothing. For the delay see
server-forgets-the-delay-it-gave, for class C
class-c-downlink-at-the-wrong-rate.

## What to do
1. Let the server apply what was answered.
2. Or send the request again with the old values and wait for the answer.
3. A new join sets everything back to the accept.

## Example
RXParamSetupReq: RX1DROffset 2, RX2 DR3. Answer 07 in line 65. ACKs in RX1
still go out at the rate of offset 0, and probe-05 repeats 05 07 in each
uplink.

## Source
LoRaWAN 1.0.4, p. 33; 1.1, 5.4, 5.7; 1.0.3, p. 27 (repeated answers).
";
