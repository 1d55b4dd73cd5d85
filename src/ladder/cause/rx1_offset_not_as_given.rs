//! Cause `rx1-offset-not-as-given`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::ladder::{
    finding::Finding,
    session::{self, Case, Story, aim::Setting, faults::Why, timely::told},
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::Rx1OffsetNotAsGiven,
    what: "data downlinks in RX1 have the data rate of another RX1DROffset",
    places: &[Place::Session(session::Rung::Timely)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

fn check(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let own = |fault: &session::faults::Fault| {
        matches!(fault.setting, Setting::Rx1Rate) && matches!(fault.why, Why::Offset(_))
    };
    told::finding(
        case,
        story,
        own,
        "apply the RX1DROffset that the node was given to all downlinks in RX1",
    )
}

const PAGE: &str = r"# rx1-offset-not-as-given
Data downlinks in RX1 have the data rate of another RX1DROffset than the one
in force.

## What is seen
At the server: downlinks sent. At the gateway: taken and sent. At the node:
RX1 stays empty, RX2 works.

## Why it happens
The accept gives RX1DROffset in DLSettings, RXParamSetupReq changes it. A
server that stores the accept's value but schedules with its default of 0,
or with a new profile's value that it never sent, misses RX1.

## How to be sure
For each downlink in RX1 find the offsets that give its data rate for the
uplink's rate. One offset that is in all of them and is not the one in force
is what the server uses. At DR0 all offsets give DR0: such frames say
nothing. Two uplink data rates make it certain.

Do not take the table of a dwell time limit for another offset: under
DownlinkDwellTime the lowest rate is DR2.

## What to do
1. Let the scheduler use the RX1DROffset stored with the session.
2. After a change of profile send RXParamSetupReq and wait for the answer,
   or let the node join again.

## Example
The accept gives RX1DROffset 2. probe-11 sends at SF7BW125 (DR5), so RX1 is
at DR3, SF9BW125. The ACKs go out at SF7BW125, the rate of offset 0; at
SF9BW125 uplinks they go out at SF9BW125. Offset 0 explains both.

## Source
LoRaWAN 1.0.4, p. 47 (DLSettings); RP002-1.0.4, tables of the RX1 data rate.
";
