//! Cause `server-forgets-the-delay-it-gave`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::ladder::{
    finding::Finding,
    session::{self, Case, Story, aim::Setting, faults::Why, timely::told},
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::ServerForgetsTheDelayItGave,
    what: "data downlinks ignore the delay that the node was given",
    places: &[Place::Session(session::Rung::Timely)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

fn check(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let own = |fault: &session::faults::Fault| {
        matches!(fault.setting, Setting::Delay)
            && matches!(fault.why, Why::Plain | Why::KeepsOld(_))
    };
    told::finding(
        case,
        story,
        own,
        "use the RxDelay of the accept, or of the RXTimingSetupReq that the node answered, for all data downlinks of the session",
    )
}

const PAGE: &str = r"# server-forgets-the-delay-it-gave
The accept set RxDelay, and the server's data downlinks ignore it.

## What is seen
At the server: downlinks sent; confirmed uplinks are repeated as if no ACK
came. At the gateway: taken and sent. At the node: joined; windows at the
new delay stay empty.

## Why it happens
RxDelay in the accept moves RX1 of all data to that many seconds (0 counts
as 1), RX2 one second later. The profile was changed after the join, the
join server and the scheduler read different settings, or the value was put
in the accept for show.

## How to be sure
From the opened accept take RxDelay. For each data downlink d = (tmst of
txpk - tmst of the uplink it answers) mod 2^32. Right: RxDelay or RxDelay +
1 seconds. 1 000 000 or 2 000 000 us where RxDelay is 5, in every downlink
of the session, is certain.

RXTimingSetupReq may have changed the delay in between: it holds after
RXTimingSetupAns. The accept itself is not ruled by RxDelay but by 5 s and
6 s. A node whose session is older than the change of profile goes by its
own accept. If no accept was opened, the delay in force is not known; then
1 s is only the default.

## What to do
1. Let the scheduler use the RxDelay stored with the session.
2. After a change of profile let the node join again, or send
   RXTimingSetupReq and wait for the answer.
3. Choose RxDelay by the measured way to the gateway.

## Example
Accept for probe-19: RxDelay 05. Confirmed uplink at tmst 91 200 000; ACK
scheduled at 92 200 000. 1 000 000 us; the probe listens at 96 200 000 and
97 200 000. It repeats the frame, which costs airtime. The profile was
raised to 5 s on Monday, the scheduler still runs with 1 s.

## Source
LoRaWAN 1.0.4, p. 47; 1.1, 5.8 (RXTimingSetupReq); RP002-1.0.1, 2.3.
";
