//! Cause `answers-come-from-another-address`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        gateway::{Answers, Case, Rung, downlink_open::astray},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::AnswersComeFromAnotherAddress,
    what: "the server answers from an address that the gateway did not ask",
    places: &[Place::Gateway(Rung::UplinkAcknowledged), Place::Gateway(Rung::DownlinkOpen)],
    kind: Kind::Exact,
    checks: &[Check::Gateway(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let heard = case.heard?;
    let up = matches!(case.up, Answers::Astray(_));
    let down = matches!(case.down, Answers::Astray(_));
    if !up && !down {
        return None;
    }
    let (_, none) = case.figures.acknowledged;
    let unsaid = heard.orders.unsaid > 0 && heard.orders.taken == 0;
    let confirmed = up && none > 0 || unsaid;
    let mut finding = Finding::new(
        if confirmed { Certainty::Certain } else { Certainty::Likely },
        fact!(
            "{where_from}: {gateway} does not get them",
            where_from = astray(heard),
            gateway = case.title()
        ),
        "answer from the address that was asked: set the server's advertised address, or the address translation in \
         front of it",
    );
    for (flow, name) in [(&heard.push, "PUSH_ACK"), (&heard.pull, "PULL_ACK")] {
        if flow.astray > 0 {
            finding.add(fact!(
                "{astray} of {answered} {name} from an address that was not asked",
                astray = flow.astray,
                answered = flow.answered,
                name
            ));
        }
    }
    if unsaid {
        finding.add(fact!(
            "{downlinks} without a TX_ACK",
            downlinks = Value::Count(heard.orders.unsaid, "downlink")
        ));
    }
    if up && none > 0 {
        finding.add(fact!("its own statistics say ackr 0.0 in {none} reports", none));
    }
    Some(finding)
}

const PAGE: &str = r"# answers-come-from-another-address
The server has several addresses, and answers from another one than the
gateway asked.

## What is seen
In a recording of packets before the firewall: answers to each datagram, from
another address. At the gateway: no acknowledgement, or none in one of the two
flows; no downlink. At the server: frames arrive.

## Why it happens
A host with two addresses answers from the one that its route prefers. A load
balancer or a cluster passes datagrams on, and the machine behind it answers
itself. Address translation and the gateway's own socket take answers from the
address asked alone.

## How to be sure
The source of PUSH_ACK, PULL_ACK or PULL_RESP is not where the datagram with
that token, or the last PULL_DATA, was sent. ackr 0.0, or PULL_RESP without a
TX_ACK, confirms it. Without that it is likely: some gateways take everything.

Two servers are not this: each answers what it was sent. A gateway whose own
address changed is not this. Another port of the same address is dropped by
strict boxes only.

## What to do
1. Let the server answer from the address that was asked: bind its socket to
   it, or set the advertised address.
2. Or give the gateway the address that answers.

## Example
The gateway asks 198.51.100.7; PULL_ACK come from 198.51.100.8. The server got
a second address with its new line.

## Source
RFC 4787, 5 (filtering); sockets that are tied to one address: common
practice.
";
