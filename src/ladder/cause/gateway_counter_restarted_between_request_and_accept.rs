//! Cause `gateway-counter-restarted-between-request-and-accept`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Fact, fact},
    intake::TxError,
    ladder::{
        finding::Finding,
        join::{self, Case, sent},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::GatewayCounterRestartedBetweenRequestAndAccept,
    what: "the slot belongs to a counter that is gone",
    places: &[Place::Join(join::Rung::Sent)],
    kind: Kind::Exact,
    checks: &[Check::Join(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let found = sent::restarted(case)?;
    let sending = &found.answer.sending;
    let gateway = match sending.gateway {
        Some(gateway) => fact!("the counter of gateway {gateway}", gateway),
        None => Fact::from("the gateway's counter"),
    };
    let mut finding = Finding::new(
        if found.restart.is_some() { Certainty::Likely } else { Certainty::Certain },
        fact!(
            "{counter} began again around this exchange: the slot belongs to a counter that is gone",
            counter = gateway
        ),
        "find out why the gateway restarts (power, watchdog, its forwarder); the node recovers at \
         its next attempt",
    );
    finding.add(fact!(
        "request {request}, accept {accept}",
        request = found.attempt.heard.first(),
        accept = sending
    ));
    let Some(restart) = found.restart else {
        finding.add(sent::GONE);
        return Some(finding);
    };
    finding.add(fact!(
        "between {before} and {after} the counter does not fit the time that passed, not even modulo \
         2^32",
        before = restart.before,
        after = restart.after
    ));
    finding.add(fact!(
        "the gateway says {error}",
        error = sending.refusal().map_or("nothing", TxError::name).to_owned()
    ));
    Some(finding)
}

const PAGE: &str = r"# gateway-counter-restarted-between-request-and-accept
The gateway's counter began again after the request, so the slot of the
accept belongs to a counter that is gone.

## What is seen
At the gateway: a restart of the concentrator or the forwarder; then TX_ACK
with TOO_EARLY or TOO_LATE, or an accept that is sent at a meaningless time.
At the node: window empty. At the server: accept sent.

## Why it happens
`tmst` starts at zero with the concentrator. Watchdogs, updates or a power
dip restart it. In the station protocol `xtime` carries a session number in
bits 55 to 48 for this reason, and a downlink of another session is dropped.

## How to be sure
Two receptions of this gateway: the counter fell by an amount that no wrap
explains. Predict: tmst2 = tmst1 + wall time between them, modulo 2^32.
Agreement within the clock error is a wrap or nothing; a large difference
and a small new value is a restart. Statistics that start again at zero, a
new discovery or a new version message support it. The slot then lies on the
old scale.

It is not the wrap (which fits the wall clock), and it is not lateness. One
restart is an event; a restart with each transmission points to the supply:
the transmitter draws most current just then.

## What to do
1. Nothing, if it was once: the next attempt succeeds.
2. Otherwise find the reason for the restarts: supply, watchdog, heat,
   memory.
3. The server should forget slots of a gateway that starts again.
4. Test transmissions for that purpose go through the antenna or a load, at
   allowed power and airtime.

## Example
06:10:00.0 tmst 2 800 000 000. 06:10:03.0 the forwarder says hello again.
06:10:04.0 the accept comes, for slot 2 805 000 000, while the new counter
stands near 1 000 000: 2 804 s ahead. TOO_EARLY, and this time truly so.

## Source
The gateway packet-forwarder protocol, `tmst`; station protocol, `xtime`
(bits 55-48 session).
";
