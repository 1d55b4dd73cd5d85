//! Cause `downlink-polarity-not-inverted`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Cite, Value, fact},
    ladder::{
        finding::Finding,
        join::{self, Case, missed, timely::Miss},
        session,
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::DownlinkPolarityNotInverted,
    what: "the accept is sent with the polarity of an uplink",
    places: &[Place::Join(join::Rung::Timely), Place::Session(session::Rung::Timely)],
    kind: Kind::Exact,
    checks: &[Check::Join(check), Check::Session(session::timely::told::polarity)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let wrong = missed::all(case, |m| (*m == Miss::Polarity).then_some(()));
    let (_, first, ()) = wrong.first()?;
    let mut finding = Finding::new(
        Certainty::Certain,
        "the accept is sent with ipol false, the polarity of an uplink: nodes listen with inverted \
         polarity and cannot hear it",
        "send every downlink to nodes with ipol true",
    );
    finding.add(fact!(
        "{accepts} with ipol false, first {first}",
        accepts = Value::count(wrong.len(), "Join-Accept"),
        first = Cite::from(&first.sending).with_time()
    ));
    Some(finding)
}

const PAGE: &str = r#"# downlink-polarity-not-inverted
The accept is sent with normal instead of inverted I/Q, so nodes cannot see
it.

## What is seen
At the server: accept sent. At the gateway: taken and sent; in the txpk
`ipol` is false. At the node: nothing. A neighbouring gateway may receive
the accept as if it were an uplink, which is a strong sign.

## Why it happens
Uplinks have normal, downlinks inverted chirps, so that nodes do not hear
nodes and gateways do not hear gateways. A script that answers with the
settings of the received frame, or a server that leaves the member out,
sends the wrong one. Only Class B beacons go down without inversion.

## How to be sure
`ipol` must be true in every downlink to a node. False is certain to fail,
whatever else is right. If the member is missing, what happens depends on
the forwarder: say so and look at its documentation.

A node whose receiver is set to normal I/Q has the same silence while `ipol`
is true; from the gateway this cannot be told from other receive faults
(good-accepts-not-taken-by-the-node). A sniffer with normal I/Q hears the
wrong accepts and misses the right ones: "I saw it on the air" can therefore
be the proof of the fault.

## What to do
1. Send `ipol` true, `ncrc` true for downlinks to nodes.
2. Look for an inversion switch in the forwarder's configuration.
3. Leave the node's receiver at inverted I/Q.

## Example
A test script in the orchard copies freq, datr and codr of the request and
sets tmst + 5 000 000. ipol is false. The accept of probe-01 is right in
time, frequency and rate; the second gateway by the shed reports it as a
reception at -58 dBm. With ipol true the probe joins.

## Source
RP002-1.0.1, chapter 3 (I/Q); the gateway packet-forwarder protocol, `ipol`;
LoRaWAN 1.0.3, p. 12 (CRC on uplinks only).
"#;
