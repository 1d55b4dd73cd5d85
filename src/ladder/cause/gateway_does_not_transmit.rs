//! Cause `gateway-does-not-transmit`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Value, fact},
    ladder::{
        finding::Finding,
        gateway::{
            Case, Rung,
            sends::{SendFault, faults},
        },
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::GatewayDoesNotTransmit,
    what: "the gateway gets downlinks and sends none",
    places: &[Place::Gateway(Rung::Sends)],
    kind: Kind::Exact,
    checks: &[Check::Gateway(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let heard = case.heard?;
    let unsent = faults(case, heard).into_iter().find_map(|fault| match fault {
        SendFault::Nothing(unsent) => Some(unsent),
        _ => None,
    })?;
    let mut finding = Finding::new(
        unsent.certainty,
        fact!(
            "{gateway} gets {downlinks} and sends none",
            gateway = case.title(),
            downlinks = Value::Count(unsent.received, "downlink")
        ),
        "connect the antenna first; then check tx_enable of the radio that sends (radio 0), and the forwarder's log",
    );
    finding.add(fact!(
        "its statistics sum up to dwnb {dwnb}, txnb 0 in {reports}",
        dwnb = unsent.received,
        reports = Value::Count(case.figures.reports, "report")
    ));
    finding.add(fact!(
        "{downlinks} in the capture, none of them late, and no TX_ACK",
        downlinks = Value::Count(unsent.ordered, "downlink")
    ));
    Some(finding)
}

const PAGE: &str = r"# gateway-does-not-transmit
Downlinks reach the gateway, and it sends none of them.

## What is seen
At the gateway: dwnb rises, txnb stays 0, and no TX_ACK is sent. At the
server: downlinks without an acknowledgement. At the nodes: windows that stay
empty.

## Why it happens
Transmission is switched off (`tx_enable` of the radio, or a receive-only
configuration), or the part of the forwarder that sends hangs.

## How to be sure
Sum up dwnb and txnb over all reports: three or more against none. The
downlinks must be in time, by slot and by arrival. A downlink may be counted
one report later: single reports say nothing.

Version 1 of the protocol has no TX_ACK: there txnb must rise. A TX_ACK with a
reason is a refusal, and that reason is the cause.

## What to do
1. Connect the antenna before anything is switched on.
2. Set `tx_enable` of the radio that sends, and its range of frequencies.
3. Read the forwarder's log for errors of the radio.
4. Restart it, and look for the first TX_ACK.

## Example
14 downlinks reach the gateway in 15 minutes, all in time. dwnb counts them,
txnb is 0. The configuration was that of a receiver for measurements.

## Source
The gateway packet-forwarder protocol, `stat`, TX_ACK; names of the settings:
common practice.
";
