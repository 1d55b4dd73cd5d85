//! Cause `accept-sent-at-the-wrong-rx1-data-rate`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, fact},
    ladder::{
        finding::Finding,
        join::{self, Case, missed},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::AcceptSentAtTheWrongRx1DataRate,
    what: "not the RX1 data rate of the request",
    places: &[Place::Join(join::Rung::Timely)],
    kind: Kind::Exact,
    checks: &[Check::Join(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    // A data rate that an RX1DROffset gives has a cause of its own.
    if missed::offset(case).is_some() {
        return None;
    }
    let wrong = missed::rate(case, 1);
    let &(_, _, (got, want)) = wrong.first()?;
    let mut finding = Finding::new(
        Certainty::Certain,
        fact!(
            "RX1 takes its data rate from the request, {expected}; the accept goes out at {data_rate}",
            expected = want,
            data_rate = got
        ),
        "correct the server's RX1 data rate table",
    );
    missed::tell_rates(case, &mut finding, &wrong);
    Some(finding)
}

const PAGE: &str = r"# accept-sent-at-the-wrong-rx1-data-rate
The accept in RX1 has a data rate that no RX1DROffset gives for the request.

## What is seen
At the server: accept sent. At the gateway: taken and sent, time and
frequency right. At the node: RX1 empty, and it asks again.

## Why it happens
The server takes the RX1 data rate from another table: that of another
region or of another regional revision, the default RX2 rate, or a fixed
rate that somebody set. In the fixed plans it may have kept the uplink's
125 kHz where RX1 has 500 kHz.

## How to be sure
Read spreading factor and bandwidth of the request and of the txpk, and look
up the row of the request's data rate in the region's RX1 table: with offset
0 it names the one allowed rate. If the txpk has the rate of another offset,
the cause is rx1-offset-applied-to-the-join-accept. Compare spreading factor
and bandwidth, not data rate numbers: these differ between revisions in
AU915.

## What to do
1. Set region and regional revision of the server to those of the node.
2. Remove any fixed downlink data rate from the server's profile for joins.
3. Capture one exchange again and read its RX1 rung.

## Example
US915: probe-05 asks at SF10BW125 (DR0) in channel 10. RX1 is SF10BW500
(DR10) on 924.5 MHz. The accept goes out on 924.5 MHz at SF10BW125: the node
listens with 500 kHz and hears nothing.

## Source
RP002-1.0.1, 2.3 and the RX1 data rate table of each region (US915: Table
18; EU868: Table 11).
";
