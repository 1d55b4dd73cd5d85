//! Cause `accept-on-a-frequency-the-gateway-cannot-send`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    intake::TxError,
    ladder::{
        finding::Finding,
        join::{
            self, Case,
            missed::{self, Astray, MOST_TOLD},
            sent,
        },
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::AcceptOnAFrequencyTheGatewayCannotSend,
    what: "the accept's frequency is outside the gateway's range",
    places: &[Place::Join(join::Rung::Timely)],
    kind: Kind::Exact,
    checks: &[Check::Join(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let wrong = missed::frequency(case, None, |why| why == Astray::Unsendable);
    let &(_, first, (got, want)) = wrong.first()?;
    let barred = sent::out_of_range(&first.sending);
    let refused = first.sending.refusal() == Some(&TxError::TxFreq) || barred.is_some();
    let mut finding = Finding::new(
        if refused { Certainty::Certain } else { Certainty::Likely },
        fact!(
            "the accept is to go out on {frequency}, which the gateway cannot send; the window is on \
             {expected}",
            frequency = Value::Frequency(got),
            expected = Value::Frequency(want)
        ),
        fact!(
            "correct the server's setting for this window to {expected}",
            expected = Value::Frequency(want)
        ),
    );
    for (_, answer, (got, _)) in wrong.iter().take(MOST_TOLD) {
        let said = answer.sending.refusal().map_or("no word from the gateway", TxError::name);
        finding.add(fact!(
            "{accept}: {frequency}: {said}",
            accept = &answer.sending,
            frequency = Value::Frequency(*got),
            said = said.to_owned()
        ));
    }
    if let Some(barred) = barred {
        finding.add(barred);
    }
    if let Some(hz) = case.record().and_then(|r| r.rx2_frequency) {
        finding.add(fact!(
            "the record's rx2-frequency is {rx2_frequency}",
            rx2_frequency = Value::Frequency(hz)
        ));
    }
    Some(finding)
}

const PAGE: &str = r"# accept-on-a-frequency-the-gateway-cannot-send
The accept asks for a frequency outside the range in which the gateway may
or can transmit.

## What is seen
At the gateway: TX_ACK with TX_FREQ; nothing goes on the air. At the server:
a failed downlink, if it reports the acknowledgement. At the node: windows
empty.

## Why it happens
The frequency is wrong (mistyped RX2, another region), or right but missing
in the gateway's range: the range was made for uplink channels, for another
region, or the hardware's filter ends before it. Refused is what lies
outside the limits of the transmit chain.

## How to be sure
Compare txpk `freq` with the gateway's range (minimum and maximum of its
transmit chain; `freq_range` in the station protocol) and with the plan's
RX1 and RX2. Outside the range and also off the plan: the server is wrong.
Outside the range and on the plan: the gateway's table is
(gateway-refuses-the-frequency). TX_FREQ is certain evidence that the accept
was not sent.

Without the gateway's range the word TX_FREQ is the only proof, and the
server's side is judged by the plan. It is not lateness: those errors are
TOO_LATE and TOO_EARLY. The node has no part in it.

## What to do
1. If the frequency is not RX1 or RX2 by rule, correct the server.
2. If it is, widen the range in the gateway's configuration, as far as
   hardware and local rules allow.
3. Never widen it to pass a frequency that is not allowed.

## Example
EU868. The server's accepts for probe-08 ask for 896.525 MHz: two digits of
869.525 swapped. The gateway's range is 863 to 870 MHz; TX_ACK says
TX_FREQ each time. The corrected RX2 is inside.

## Source
The gateway packet-forwarder protocol, `txpk_ack`; station protocol,
`freq_range`; RP002-1.0.1, 2.4.
";
