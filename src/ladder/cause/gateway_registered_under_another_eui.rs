//! Cause `gateway-registered-under-another-eui`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    explore::near_miss::{self, Mistake},
    fact::{Certainty, Fact, fact},
    id::Eui64,
    intake::Speaker,
    ladder::{
        finding::Finding,
        gateway::{self, misconfigured},
        join::{self, Case, answered},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::GatewayRegisteredUnderAnotherEui,
    what: "the server knows the gateway by another EUI",
    places: &[Place::Gateway(gateway::Rung::Known), Place::Join(join::Rung::Answered)],
    kind: Kind::Exact,
    checks: &[
        Check::Gateway(gateway::known::another_eui),
        Check::Gateway(misconfigured::registered_under_another_eui),
        Check::Join(check),
    ],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let record = case.record()?;
    if record.gateways.is_empty() {
        return None;
    }
    let unanswered = answered::unanswered_run(case);
    let heard = unanswered.iter().flat_map(|(_, attempt)| attempt.heard.sightings());
    let mut heard: Vec<Eui64> = heard.filter_map(|seen| seen.gateway).collect();
    heard.sort_unstable();
    heard.dedup();
    if heard.iter().any(|eui| record.gateways.contains(eui)) {
        return None;
    }
    let near = heard.iter().find_map(|sent| {
        record.gateways.iter().find_map(|own| Some((*sent, *own, resembles(*sent, *own)?)))
    });
    // A request that the server has reason to drop says nothing of its gateway: then the likeness
    // alone speaks.
    if near.is_none() && !answered::requests_are_good(case) {
        return None;
    }
    let sent = near.as_ref().map(|(sent, ..)| *sent).or(heard.first().copied())?;
    let registered = near.as_ref().map(|(_, own, _)| *own).or(record.gateways.first().copied())?;
    let logged: Vec<&String> = record.log.iter().filter(|line| names(line, sent)).collect();
    let certainty = match (&near, logged.is_empty()) {
        (Some(_), false) => Certainty::Certain,
        (Some(_), true) | (None, false) => Certainty::Likely,
        (None, true) => Certainty::Possible,
    };
    let how = near.map_or(Fact::from(""), |(.., how)| fact!(" ({how})", how));
    let mut finding = Finding::new(
        certainty,
        fact!(
            "the gateway calls itself {gateway}, the server knows {registered}{how}",
            gateway = sent,
            registered,
            how
        ),
        fact!("correct the gateway's EUI on the server to {gateway}", gateway = sent),
    );
    finding.add(fact!("in the datagrams  {gateway}", gateway = sent));
    finding.add(fact!("on record         {registered}", registered));
    for line in logged {
        finding.add(fact!("server's log: {said}", said = line.clone()).said_by(Speaker::Server));
    }
    if answered::requests_are_good(case) {
        finding.add("the node's request is good as far as it can be checked");
    }
    Some(finding)
}

/// How a gateway's EUI differs from a registered one in a way that people make.
fn resembles(heard: Eui64, registered: Eui64) -> Option<String> {
    let mistake = near_miss::eui_relation(heard, registered)?;
    (mistake != Mistake::Same).then(|| mistake.of_eui("the record's gateway EUI"))
}

/// Whether a line of a log names an EUI, however it is written.
fn names(line: &str, eui: Eui64) -> bool {
    let digits = line.chars().filter(char::is_ascii_alphanumeric);
    digits.map(|c| c.to_ascii_lowercase()).collect::<String>().contains(&eui.hex())
}

const PAGE: &str = r"# gateway-registered-under-another-eui
The gateway sends under one EUI, and the server knows it under another.

## What is seen
At the gateway: all is well; it receives, sends, and even has its datagrams
acknowledged. At the server: the gateway is shown as never seen, and no
frame of any node arrives through it. At the nodes: attempts without answer,
all of them.

## Why it happens
The gateway's EUI is made from a MAC address of 6 bytes by putting two bytes
in the middle, mostly FFFE, in some set-ups FFFF. The record was typed with
the other filler, from another network interface, with a typing error, or the
gateway still sends a default such as AA555A0000000000. In the UDP protocol
there is no login: a server may acknowledge datagrams of an EUI it does not
know, and throw them away.

## How to be sure
Take the EUI from bytes 4 to 11 of PUSH_DATA or PULL_DATA (printed order)
and compare it with the list of registered ones. Equal but for FFFE/FFFF or
a digit or two: likely this. It is certain when the server's operator
confirms that the sent EUI is unknown there, or when frames flow after the
correction.

Acknowledgements (ackr 100 in the statistics) only say that something
answers at that address. Do not look for a fault in the nodes: their frames
are good, the MICs hold. If PUSH_DATA is acknowledged and PULL_DATA is not,
see no-downlink-path-to-the-gateway.

## What to do
1. Copy the EUI from the gateway's running configuration, not from its
   label, into the record.
2. Or set the gateway to the registered EUI, if it came from the wrong
   interface.
3. Where the default EUI is in use, replace it: another gateway may have it,
   too.

## Example
Datagrams of the orchard gateway carry 02-00-00-FF-FE-0C-F0-01. Registered
is 02-00-00-FF-FF-0C-F0-01: FFFF in place of FFFE. Three probes ask for two
hours and get nothing. With FFFE in the record the next request is answered.

## Source
The gateway packet-forwarder protocol, sections 3-6 (header); EUI made from
a MAC address: common practice.
";
