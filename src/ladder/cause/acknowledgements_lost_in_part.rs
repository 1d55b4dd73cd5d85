//! Cause `acknowledgements-lost-in-part`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, fact},
    ladder::{
        finding::Finding,
        gateway::{Answers, Case, Rung, uplink_acknowledged::ackr},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::AcknowledgementsLostInPart,
    what: "a part of what the gateway sends, or of the answers, is lost",
    places: &[Place::Gateway(Rung::UplinkAcknowledged)],
    kind: Kind::Exact,
    checks: &[Check::Gateway(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let Answers::LostInPart(share) = &case.up else { return None };
    let mut finding = Finding::new(
        Certainty::Certain,
        fact!(
            "of what {gateway} sends, {answered} of {asked} PUSH_DATA are acknowledged: the others, or their answers, \
             are lost on the way",
            gateway = case.title(),
            answered = share.answered,
            asked = share.asked
        ),
        "check the gateway's mobile or radio link, and limits of rate on the way; an uplink that is lost there is \
         not sent again",
    );
    finding.add(share.fact("PUSH_DATA"));
    finding.add(ackr(share.ackr));
    if let Answers::Acknowledged(down) | Answers::Partly(down) = &case.down {
        finding.add(down.fact("PULL_DATA"));
    }
    Some(finding)
}

const PAGE: &str = r"# acknowledgements-lost-in-part
A part of the gateway's datagrams, or of their acknowledgements, is lost on
the way to the server and back.

## What is seen
At the gateway: ackr well below 100, in every report. In the capture: some
tokens are never answered, those that are come in time. At the server: gaps in
the nodes' counters. At the nodes: confirmed frames that are sent again.

## Why it happens
A weak mobile link, a radio link with collisions, a line that is full, a limit
on the rate of UDP. The protocol sends nothing again.

## How to be sure
The share that is answered by token equals ackr, over three reports and 20
datagrams or more, and is below 95 %. If ackr is 100.0 the recorder lost them,
not the line. A single loss is nothing. If all is answered until some moment
and nothing after, see server-never-answers.

If PULL_ACK are lost in the same way it is the path, not the port.

## What to do
1. Check the signal of the mobile link, and its antenna.
2. Look for losses with a long row of pings from the gateway to the server.
3. Look for limits of rate on the way.
4. Where the link cannot be better, use a protocol over TCP.

## Example
About 60 of 100 datagrams are acknowledged, all within 40 ms. ackr says 61.5,
58.3, 60.0. The SIM card was in a band that is full in the evening.

## Source
The gateway packet-forwarder protocol, section 1 (no retry); meaning of
`ackr`: common practice.
";
