//! Cause `dev-addr-typed-wrong`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, fact},
    ladder::{
        finding::Finding,
        session::{self, Case, Story, strays},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::DevAddrTypedWrong,
    what: "the DevAddr that a claim states is a typing error away from the node's",
    places: &[Place::Session(session::Rung::Authentic)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

fn check(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let typed = strays::address_typed_wrong(case, story)?;
    let mut finding = Finding::new(
        Certainty::Certain,
        typed.words(),
        "correct the DevAddr on record, or in the firmware: both sides must have the same",
    );
    for uplink in typed.frames.iter().take(4) {
        finding.add(fact!(
            "{uplink}: DevAddr {dev_addr}; the MIC holds under the session's network key",
            uplink = uplink.clone(),
            dev_addr = typed.used
        ));
    }
    Some(finding.matched_by_chance(2.0, typed.frames.len()))
}

const PAGE: &str = r#"# dev-addr-typed-wrong
The node's DevAddr and the one on record differ in a digit or two; the keys
are the same.

## What is seen
At the server: "unknown DevAddr", or nothing at all. At the gateway: uplinks
that nobody on the roster has. At the node: it sends as always, no downlink.

## Why it happens
An address of an ABP node is typed from a label, a spreadsheet or a list,
and one digit is wrong on one side.

## How to be sure
Compute the MIC of the uplinks under the network session key on record, with
the DevAddr as sent: it holds, and the address differs from the one stated
in one or two digits. A MIC of 32 bits does not hold by accident.

A stranger with a similar address fails the MIC. After a join the address
comes from the accept.

## What to do
1. Correct the DevAddr on record, or in the firmware.
2. For the other nodes of that list compare addresses, too.

## Example
Record: 02A5C4F1. The node sends 02A5C3F1, five uplinks, each MIC holds
under the record's NwkSKey.

## Source
LoRaWAN 1.0.4, p. 18 (DevAddr), p. 25 (MIC).
"#;
