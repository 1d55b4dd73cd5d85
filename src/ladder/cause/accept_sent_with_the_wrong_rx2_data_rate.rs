//! Cause `accept-sent-with-the-wrong-rx2-data-rate`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, fact},
    ladder::{
        finding::Finding,
        join::{self, Case, missed},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::AcceptSentWithTheWrongRx2DataRate,
    what: "not the region's default RX2 data rate, which alone holds for a join",
    places: &[Place::Join(join::Rung::Timely)],
    kind: Kind::Exact,
    checks: &[Check::Join(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let wrong = missed::rate(case, 2);
    let &(_, _, (got, want)) = wrong.first()?;
    let mut finding = Finding::new(
        Certainty::Certain,
        fact!(
            "before the join RX2 has the region's default data rate, {expected}; the accept goes out \
             at {data_rate}",
            expected = want,
            data_rate = got
        ),
        "use the region's default RX2 data rate for Join-Accepts; the network's own counts only after \
         the accept has given it to the node",
    );
    missed::tell_rates(case, &mut finding, &wrong);
    if let Some(dr) = case.record().and_then(|r| r.rx2_data_rate) {
        finding.add(fact!("the record's rx2-data-rate is {rx2_data_rate}", rx2_data_rate = dr));
    }
    Some(finding)
}

const PAGE: &str = r#"# accept-sent-with-the-wrong-rx2-data-rate
The accept at 6 s has another data rate than the region's default RX2, which
alone holds for a join.

## What is seen
At the server: accept sent in RX2. At the gateway: taken and sent. At the
node: RX2 empty. Nodes whose accept is sent in RX1 join; far nodes, or a
busy RX1, fail.

## Why it happens
A network may run RX2 at its own rate, for instance SF9 in EU868. The node
learns it from DLSettings in the accept or from RXParamSetupReq, both after
the join. A server that uses its own rate for the accept speaks where nobody
listens. The default is DR0 (SF12/125) in EU868 and KR920, DR2 (SF10/125) in
AS923 and IN865, DR8 (SF12/500) in US915 and AU915.

## How to be sure
For the txpk at 6 000 000 us compare spreading factor and bandwidth with the
plan's default. Different is certain to fail with a node that keeps to the
standard.

"SF9 is right, as the network uses it" holds for data only. Firmware may
have been built with a private default; then its claim says so, and the
network's rate fits. A listener waiting at the wrong rate misses the right
accept: a capture by a second radio has the same trap. If the frequency is
wrong as well, report both.

## What to do
1. Send accepts in RX2 with the region's default data rate.
2. Keep the network's own rate in DLSettings, so that it holds from the join
   on.
3. Mind the length of slow accepts on the air (33 bytes at SF12/125:
   1.810 s) and the gateway's duty cycle.

## Example
EU868. Accepts for probe-12 at 869.525 MHz, 6.000000 s, SF9: DLSettings
inside says RX2 data rate 3, and the server used it for the accept itself.
The node listens at SF12. With SF12 the next accept is taken.

## Source
RP002-1.0.1, 2.3 and the regions' sections 2.4, 2.5, 2.8, 2.10, 2.11, 2.12
(default RX2).
"#;
