//! Cause `downlink-at-the-wrong-rx1-data-rate`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::ladder::{
    finding::Finding,
    session::{self, Case, Story, aim::Setting, faults::Why, timely::told},
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::DownlinkAtTheWrongRx1DataRate,
    what: "data downlinks in RX1 have a data rate that no RX1DROffset in force gives",
    places: &[Place::Session(session::Rung::Timely)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

fn check(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let own = |fault: &session::faults::Fault| {
        matches!(fault.setting, Setting::Rx1Rate) && matches!(fault.why, Why::Plain)
    };
    told::finding(
        case,
        story,
        own,
        "use the data rate that the plan gives for the uplink's data rate and RX1DROffset",
    )
}

const PAGE: &str = r"# downlink-at-the-wrong-rx1-data-rate
Data downlinks come in RX1 at a data rate that the node does not listen for.

## What is seen
At the server: downlinks sent. At the gateway: taken and sent. At the node:
RX1 stays empty; confirmed uplinks are repeated.

## Why it happens
RX1's data rate follows from the uplink's data rate and RX1DROffset, by the
plan's table. Typical mistakes: the data rate of RX2 in RX1; the uplink's
own rate where the plan has others for downlinks (US915: 500 kHz); no row
for FSK or LR-FHSS uplinks, which have downlink rates of their own.

## How to be sure
Delay and frequency are RX1's. Look the data rate up: row = uplink data
rate, column = RX1DROffset in force. Try every column: if one fits all
downlinks, see rx1-offset-not-as-given. If only a rate below DR2 is wrong
while DownlinkDwellTime is on, see downlink-breaks-the-dwell-limit.

Revisions of the plan differ for a few rows (IN865, AS923, AU915): a rate
that any revision gives is not a fault. One downlink may be a retry; three
decide.

## What to do
1. Correct the RX1 table on the server, for this region and version.
2. Check that the server knows the uplink's data rate, FSK and LR-FHSS too.

## Example
EU868, RX1DROffset 0. probe-02 sends at SF9BW125 (DR3), so RX1 is at
SF9BW125. The server sends the ACK after 1 s on the uplink's frequency, at
SF12BW125: the time and frequency of RX1, the data rate of RX2.

## Source
RP002-1.0.4, tables of the RX1 data rate; LoRaWAN 1.0.4, p. 13.
";
