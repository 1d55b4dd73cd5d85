//! Cause `protocol-versions-differ`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, fact},
    ladder::{
        finding::Finding,
        gateway::{Answers, Case, Rung},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::ProtocolVersionsDiffer,
    what: "the server answers in another version of the gateway's protocol",
    places: &[Place::Gateway(Rung::UplinkAcknowledged), Place::Gateway(Rung::DownlinkOpen)],
    kind: Kind::Exact,
    checks: &[Check::Gateway(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let versions = [&case.up, &case.down].into_iter().find_map(|answers| match answers {
        Answers::Versions(ours, theirs) => Some((*ours, *theirs)),
        _ => None,
    });
    let (ours, theirs) = versions?;
    let heard = case.heard?;
    let (_, none) = case.figures.acknowledged;
    let certainty = if none > 0 { Certainty::Certain } else { Certainty::Likely };
    let mut finding = Finding::new(
        certainty,
        fact!(
            "{gateway} speaks version {ours} of its protocol, and the server answers in version {theirs}: the gateway \
             discards that",
            gateway = case.title(),
            ours,
            theirs
        ),
        "use one version of the protocol on both sides",
    );
    finding.add(fact!(
        "byte 0 is {sent} in what the gateway sends, {got} in what it gets",
        sent = format!("{ours:02x}"),
        got = format!("{theirs:02x}")
    ));
    finding.add(fact!(
        "tokens agree: PUSH_ACK for {pushes} PUSH_DATA, PULL_ACK for {pulls} PULL_DATA",
        pushes = heard.push.answered,
        pulls = heard.pull.answered
    ));
    if none > 0 {
        finding.add(fact!("its own statistics say ackr 0.0 in {none} reports", none));
    }
    Some(finding)
}

const PAGE: &str = r"# protocol-versions-differ
Gateway and server speak two versions of the UDP protocol. The gateway throws
away what it gets.

## What is seen
At the gateway: ackr 0.0, no downlink is ever sent. In a recording of packets:
an acknowledgement for each datagram, with the right token, and with another
byte 0. At the server: frames arrive.

## Why it happens
One side was updated and the other was not, or a bridge in between writes a
fixed version.

## How to be sure
Byte 0 of each datagram is the version. That of the gateway's datagrams and
that of the answers differ, and ackr is 0.0. If ackr is above 0 the gateway
does not mind.

Version 1 on both sides is allowed: then PULL_RESP has token 0, and there is
no TX_ACK.

## What to do
1. Use one version on both sides, the newer one where both can.
2. Look at what is in between: a bridge or a load balancer.

## Example
The gateway sends 02 in byte 0. PUSH_ACK and PULL_ACK begin with 01. The
server's bridge was of the year before.

## Source
The gateway packet-forwarder protocol, sections 3 to 6 and its history; that a
gateway discards another version: common practice.
";
