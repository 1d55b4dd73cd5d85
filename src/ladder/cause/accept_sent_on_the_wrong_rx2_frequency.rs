//! Cause `accept-sent-on-the-wrong-rx2-frequency`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        join::{
            self, Case,
            missed::{self, Astray},
        },
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::AcceptSentOnTheWrongRx2Frequency,
    what: "not the region's default RX2 frequency, which alone holds for a join",
    places: &[Place::Join(join::Rung::Timely)],
    kind: Kind::Exact,
    checks: &[Check::Join(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let wrong = missed::frequency(case, Some(2), |why| why == Astray::Wrong);
    let &(_, _, (got, want)) = wrong.first()?;
    let mut finding = Finding::new(
        Certainty::Certain,
        fact!(
            "before the join RX2 is the region's default, {expected}; the accept goes out on \
             {frequency}",
            expected = Value::Frequency(want),
            frequency = Value::Frequency(got)
        ),
        "use the region's default RX2 for Join-Accepts; the network's own RX2 counts only after the \
         accept has given it to the node",
    );
    missed::tell_frequencies(&mut finding, &wrong);
    Some(finding)
}

const PAGE: &str = r"# accept-sent-on-the-wrong-rx2-frequency
The accept at 6 s is on another frequency than the region's default RX2,
which alone holds for a join.

## What is seen
At the server: accept sent in RX2. At the gateway: taken and sent, or
refused with TX_FREQ. At the node: RX2 empty.

## Why it happens
The RX2 frequency was typed by hand, taken from another region or group, or
set for data by RXParamSetupReq and used for accepts, too. Before the join a
node knows the default only: EU868 869.525 MHz, US915 and AU915 923.3 MHz,
KR920 921.9 MHz, IN865 866.55 MHz, RU864 869.1 MHz. In CN470 it depends on
the plan and the join channel.

## How to be sure
Compare txpk `freq` at 6 000 000 us with the default of the node's region.
It must be equal; a receiver of 125 kHz forgives some kilohertz, not a
channel.

For AS923 take the difference first: 1.8, 5.9 or 6.6 MHz, or a difference of
two of these, means another group (server-set-to-another-as923-group). In
CN470 look up the request's own row; the general value is wrong for most
join channels. RX1 at 5 s has its own rule. A refusal by the gateway does
not prove that the frequency was right otherwise.

## What to do
1. Set the server's RX2 for joins to the region's default.
2. If the network wants another RX2 for data, it must go out by
   RXParamSetupReq after the join: DLSettings carries a data rate, no
   frequency.
3. Check that the frequency and power are allowed where the gateway stands.

## Example
EU868. The accepts of probe-02 at 6.000000 s are on 869.252 MHz: two digits
swapped. The gateway can send there and does; the node listens on
869.525 MHz. The first accept after the correction is taken.

## Source
RP002-1.0.1, 2.4, 2.5, 2.8, 2.9, 2.10, 2.11; LoRaWAN 1.0.4, p. 47
(DLSettings).
";
