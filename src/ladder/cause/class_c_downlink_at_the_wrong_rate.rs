//! Cause `class-c-downlink-at-the-wrong-rate`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::ladder::{
    finding::Finding,
    session::{self, Case, Story, aim::Setting, faults::Why, timely::told},
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::ClassCDownlinkAtTheWrongRate,
    what: "class C downlinks ignore the RX2 in force",
    places: &[Place::Session(session::Rung::Timely)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

fn check(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let own = |fault: &session::faults::Fault| {
        matches!(fault.setting, Setting::OpenFrequency | Setting::OpenRate)
            && matches!(fault.why, Why::Plain | Why::KeepsOld(_) | Why::Record)
    };
    told::finding(
        case,
        story,
        own,
        "send class C downlinks on the RX2 in force: the accept's DLSettings, or the last RXParamSetupReq that the node answered with 07",
    )
}

const PAGE: &str = r#"# class-c-downlink-at-the-wrong-rate
A Class C downlink outside the node's Class A windows is not sent at the RX2
in force.

## What is seen
At the server: downlink sent immediately. At the gateway: taken and sent. At
the node: nothing, while downlinks right after its uplinks arrive.

## Why it happens
A Class C node listens on its RX2 whenever it does nothing else. Its RX2 is
what DLSettings in the accept said, later changed by RXParamSetupReq if the
node agreed. The server used the region's default, the profile's newest
value, or the RX1 rate. A server that uses a session which the node has not
yet confirmed misses, too.

## How to be sure
Take the txpk without tmst, or with imme. Compare frequency, spreading
factor and bandwidth with RX2 of the session: default frequency of the
region unless a RXParamSetupAns 07 changed it, data rate from DLSettings.
Different is certain to be missed by a node that follows the standard.

If the change was asked for but not answered with 07, the old value holds.
"Late" has no meaning for imme. "Asleep" is a matter of class: an uplink
never proves Class C in 1.0.x, the claim must say it. If RX2 is right, look
at the session's DevAddr and FCntDown.

## What to do
1. Send with the RX2 of the session, not of the profile.
2. After a join wait for the first uplink before sending.
3. When RX2 is to change, use RXParamSetupReq and wait for the answer.
4. Mind the band's duty cycle and power: Class C tempts to send often.

## Example
EU868 valve, Class C. Accept: DLSettings 03, so RX2 is 869.525 MHz at DR3,
SF9. The server's commands go out at 869.525 MHz, SF12. The valve answers
none. At SF9 it answers the first.

## Source
LoRaWAN 1.0.4, p. 47 (DLSettings) and the Class C chapter; RP002-1.0.1, 2.4.
"#;
