//! Cause `gateway-refuses-the-frequency`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    intake::TxError,
    ladder::{
        finding::Finding,
        gateway,
        join::{self, Case, accepts, sent, timely::misses},
        session,
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::GatewayRefusesTheFrequency,
    what: "the gateway refuses an allowed frequency",
    places: &[
        Place::Gateway(gateway::Rung::Sends),
        Place::Join(join::Rung::Sent),
        Place::Session(session::Rung::Sent),
    ],
    kind: Kind::Exact,
    checks: &[
        Check::Gateway(gateway::sends::refuses_frequency),
        Check::Join(check),
        Check::Session(session::sent::frequency),
    ],
    page: PAGE,
};

/// Evidence of one kind is told of this many accepts.
const MOST_TOLD: usize = 4;

fn check(case: &Case<'_>) -> Option<Finding> {
    // A frequency that is not the window's is the server's mistake, and rung 7's; without a region
    // nobody knows.
    case.plan?;
    let refused: Vec<_> = accepts::lost(case)
        .into_iter()
        .filter(|(attempt, answer)| misses(case, attempt, answer).is_empty())
        .filter_map(|(_, answer)| {
            let frequency = Value::Frequency(answer.sending.freq_hz?);
            let said = match answer.sending.refusal() {
                Some(TxError::TxFreq) => fact!("{frequency}: TX_FREQ", frequency),
                Some(_) => return None,
                None => sent::out_of_range(&answer.sending)?,
            };
            Some((answer, said))
        })
        .collect();
    let (first, _) = refused.first()?;
    let mut finding = Finding::new(
        Certainty::Certain,
        fact!(
            "the gateway refuses {frequency}, the right frequency of this window",
            frequency = Value::Frequency(first.sending.freq_hz?)
        ),
        "set the gateway's transmit range to its region's band (it is set for another region, or \
         too narrow)",
    );
    for (answer, said) in refused.iter().take(MOST_TOLD) {
        finding.add(fact!("{accept}: {said}", accept = &answer.sending, said = said.clone()));
    }
    Some(finding)
}

const PAGE: &str = r"# gateway-refuses-the-frequency
The gateway refuses a frequency that is right for the window.

## What is seen
At the gateway: TX_ACK with TX_FREQ. At the server: a failed downlink. At
the node: windows empty. Often only RX2 or only some RX1 channels fail.

## Why it happens
The transmit range in the gateway's configuration is too narrow: written for
the uplink channels, for an older set of channels, or for one of two radios.
In US915 uplinks are at 902 to 915 MHz and downlinks at 923 to 928 MHz; a
range copied from the receive side excludes every downlink.

## How to be sure
Compute RX1 and RX2 from the request and the plan. The txpk has one of them,
exactly, and the answer is TX_FREQ: the cause is certain and lies in the
gateway. If the txpk is not allowed, it is
accept-on-a-frequency-the-gateway-cannot-send, and the server is to be
fixed first.

See which transmit chain was asked for (`rfch`): the second one can have
another range or be switched off for sending. A frequency given with
rounding errors just beyond a limit is refused, too. The node is not at
fault.

## What to do
1. Set the range of the transmit chain to the region's complete downlink band.
2. Let the server use the chain that may send.
3. Restart the forwarder and look for an acknowledgement without error.
4. Do not open the range beyond what local rules and the filter allow.

## Example
US915. Probe-07 asks on channel 11 (904.5 MHz); 11 mod 8 = 3; RX1 is 923.3 +
1.8 = 925.1 MHz. The txpk says 925.1, TX_ACK says TX_FREQ. The range in the
gateway: 902.0 to 915.0 MHz. With 923.0 to 928.0 MHz the accept is sent.

## Source
RP002-1.0.1, 2.5 Table 18; the gateway packet-forwarder protocol,
`txpk_ack`.
";
