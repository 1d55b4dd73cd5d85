//! Cause `node-joins-over-the-air-record-is-abp`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        join::{self, Case, authentic::is_abp_record},
    },
    trace::Attempt,
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::NodeJoinsOverTheAirRecordIsAbp,
    what: "the node joins over the air, the record holds session keys only",
    places: &[Place::Join(join::Rung::Authentic)],
    kind: Kind::Exact,
    checks: &[Check::Join(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let record = case.record()?;
    // A record may have been changed after the node joined: what counts is what went unanswered since.
    let answered = case.node.attempts.iter().rposition(|a| !a.answers.is_empty());
    let since = answered.map_or(0, |last| last + 1);
    let asked = case.node.attempts.iter().skip(since).filter(|a| a.ask.join().is_some()).count();
    if asked == 0 || !is_abp_record(record) {
        return None;
    }
    let mut finding = Finding::new(
        Certainty::Certain,
        "the node joins over the air, its record is set for ABP: session keys, and no root key to \
         check a Join-Request with",
        "register the node for OTAA with its root key; or, if ABP is meant, set the node to ABP \
         with the record's session",
    );
    let requests = Value::count(asked, "Join-Request");
    finding.add(fact!("{requests} from the node", requests));
    finding.add(match record.dev_addr {
        Some(dev_addr) => {
            fact!("the record holds DevAddr {dev_addr} and session keys, no AppKey", dev_addr)
        }
        None => "the record holds session keys, no AppKey".into(),
    });
    if let Some(joined) = answered.and_then(|last| case.node.attempts.get(last)) {
        finding.add(fact!(
            "the server answered {request}: the record was changed after it",
            request = joined
        ));
    }
    let holds = |a: &Attempt| a.holds_under.iter().any(|key| case.is_own(key));
    if let Some(attempt) = case.node.attempts.iter().find(|attempt| holds(attempt)) {
        finding.add(fact!(
            "the MIC holds under the firmware's root key: the node itself is right";
            at: attempt
        ));
    }
    Some(finding)
}

const PAGE: &str = r#"# node-joins-over-the-air-record-is-abp
The node sends Join-Requests, but its record holds session keys only and
takes no join.

## What is seen
At the gateway: Join-Requests of a DevEUI that is on record. At the server:
the device exists and shows a DevAddr, yet nothing arrives. At the node:
attempts without answer.

## Why it happens
The record was made for activation by personalisation (ABP), with DevAddr,
NwkSKey and AppSKey. The node activates over the air (OTAA) and needs an
AppKey (1.1: NwkKey and AppKey) on the other side. Some forms offer ABP
first; some imports fall back to it when the root key is missing.

## How to be sure
It is certain when Join-Requests of the registered DevEUI are heard and the
record's activation is ABP or has no root key. The MIC cannot be checked
against the record, as there is nothing to check it with; if the firmware's
key is on the roster, check it there to exclude a second fault.

Look for data frames of the record's DevAddr as well. If there are some,
another node, or the same node in another mode, uses the session. Do not say
"unknown node" or "key wrong": the server knows the node and has no root key
to be wrong. The opposite also exists: an ABP node against an OTAA record
sends data frames of a DevAddr that no join gave.

## What to do
1. Register the node as OTAA with its root key and JoinEUI.
2. Remove the ABP session, so that nobody uses its keys.
3. Leave the node as it is: OTAA makes new keys at each join and is the
   better choice.

## Example
Probe-10 sends eleven Join-Requests in the capture. Record: DevEUI
02-00-00-FF-FE-0C-21-0A, DevAddr 020C210A, NwkSKey and AppSKey filled, no
AppKey. The MIC holds under the AppKey of its firmware claim. A new OTAA
record with this key ends the matter.

## Source
LoRaWAN 1.0.4, chapter 6 (activation); 1.0.3, p. 36.
"#;
