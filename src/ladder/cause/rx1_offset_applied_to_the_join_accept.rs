//! Cause `rx1-offset-applied-to-the-join-accept`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, fact},
    ladder::{
        finding::Finding,
        join::{
            self, Case,
            missed::{self, MOST_TOLD},
        },
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::Rx1OffsetAppliedToTheJoinAccept,
    what: "RX1DROffset was applied to the accept, where it must be 0",
    places: &[Place::Join(join::Rung::Timely)],
    kind: Kind::Exact,
    checks: &[Check::Join(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let applied = missed::offset(case)?;
    let wrong = missed::rate(case, 1);
    let &(_, _, (got, want)) = wrong.first()?;
    let certainty = match (applied.known, wrong.len()) {
        (true, _) => Certainty::Certain,
        (false, 2..) => Certainty::Likely,
        (false, _) => Certainty::Possible,
    };
    let mut finding = Finding::new(
        certainty,
        fact!(
            "the accept goes out at {data_rate} instead of {expected}: RX1DROffset {rx1_dr_offset} \
             was applied, which the node cannot know before it has the accept",
            data_rate = got,
            expected = want,
            rx1_dr_offset = applied.offset
        ),
        "use RX1DROffset 0 for Join-Accepts",
    );
    for (attempt, answer, (got, want)) in wrong.iter().take(MOST_TOLD) {
        finding.add(fact!(
            "{accept}: {data_rate}, the request ({request}) asks for {expected}",
            accept = &answer.sending,
            data_rate = *got,
            request = attempt.heard.first(),
            expected = *want
        ));
    }
    if let Some(stated) = applied.stated {
        finding.add(fact!("the record's rx1-dr-offset is {stated}", stated));
    }
    if let Some(carried) = applied.carried {
        finding.add(fact!("the accept's DLSettings carry RX1DROffset {carried}", carried));
    }
    Some(finding)
}

const PAGE: &str = r"# rx1-offset-applied-to-the-join-accept
The accept in RX1 has the data rate that RX1DROffset would give, although
offset 0 holds for a join.

## What is seen
At the server: accept sent. At the gateway: taken and sent, time and
frequency right. At the node: RX1 empty. At the slowest data rate the join
may work, because there the offset changes nothing.

## Why it happens
RX1DROffset reaches the node inside the accept (DLSettings). Before it has
opened one, the node can only use the default, 0. The server applied the
value of its profile to the accept already.

## How to be sure
From the request's data rate and the region's table find the RX1 data rate
for offset 0 and for the record's offset. The txpk has the second: this
cause. Example rows: EU868 DR5 gives DR5, 4, 3, 2, 1, 0 for offset 0 to 5;
US915 DR0 gives DR10, 9, 8, 8 for offset 0 to 3.

If offset 0 and the record's offset give the same data rate (EU868 DR0),
this attempt shows nothing; look at another. If the rate fits no offset, the
server has another table or region. If the accept is in RX2, compare with
the default RX2 rate instead. Compare spreading factor and bandwidth:
numbers differ between revisions in AU915.

## What to do
1. Use offset 0 for every Join-Accept; apply RX1DROffset from the first data
   downlink on.
2. Until the server is fixed, set the offset of the profile to 0.
3. Do not slow the nodes down to get in: an SF12 join takes 24 times the
   airtime of an SF7 join.

## Example
EU868, RX1DROffset 2 on record. Probe-11 asks at SF7 (DR5); the accepts are
at SF9 (DR3), 5.000000 s later, same frequency. DR5 with offset 2 is DR3.
After some failures the probe falls back to SF12 and joins: 1.483 s in place
of 0.062 s on the air.

## Source
RP002-1.0.1, 2.3 (default offset 0), Table 11 (EU868) and Table 18 (US915).
";
