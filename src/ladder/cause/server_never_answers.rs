//! Cause `server-never-answers`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Fact, fact},
    intake::Leg,
    ladder::{
        finding::Finding,
        gateway::{Answers, Case, Rung, told},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::ServerNeverAnswers,
    what: "nothing that the gateway sends is acknowledged",
    places: &[Place::Gateway(Rung::UplinkAcknowledged), Place::Gateway(Rung::DownlinkOpen)],
    kind: Kind::Exact,
    checks: &[Check::Gateway(check), Check::Gateway(told::never_answered)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let up = case.up.silence()?;
    let down = case.down.silence();
    let recorded = !matches!(case.down, Answers::NotRecorded | Answers::TooFew);
    if recorded && down.is_none() {
        return None;
    }
    if [Leg::Push, Leg::Pull].iter().any(|leg| case.network_error(*leg).is_some()) {
        return None;
    }
    let mut finding = Finding::new(
        // Where of the other flow nothing is known it may be one port of the two.
        if down.is_some() { Certainty::Certain } else { Certainty::Likely },
        if let Some(before) = up.before {
            fact!(
                "the server answers {gateway} no more: the last datagram that was acknowledged is {before}",
                gateway = case.title(),
                before
            )
        } else {
            fact!(
                "the server never answers {gateway}: nothing that it sends is acknowledged",
                gateway = case.title()
            )
        },
        "check the server's address, both ports and the firewall; capture at the server to see whether the datagrams \
         arrive there",
    );
    finding.add(up.fact("PUSH_DATA"));
    finding.add(match &down {
        Some(down) => down.fact("PULL_DATA"),
        None => Fact::from("of the downlink flow the capture says nothing"),
    });
    finding.evidence.extend(up.witness());
    Some(finding)
}

const PAGE: &str = r"# server-never-answers
The gateway sends, and not one datagram is acknowledged, in neither flow.

## What is seen
At the gateway: statistics with ackr 0.0, again and again; no downlink ever.
In the capture: PUSH_DATA and PULL_DATA, no PUSH_ACK and no PULL_ACK. At the
server: the gateway is offline, or was last seen at some moment. At the nodes:
no answer.

## Why it happens
The server's address or both ports are wrong; a firewall drops the datagrams
or their answers without a word; the server is down, or has moved. If it began
at some moment, something changed then.

## How to be sure
Three or more of each kind are without an answer, by token. And something says
that the recorder is not at fault: ackr 0.0 in a report that is not the first
(the first may speak of a time in which nothing was pushed), or other
datagrams of the server in the capture.

A capture of one direction looks the same: then ackr is 100.0, dwnb is above
0, or TX_ACK are there. A capture that is shorter than one round trip says
nothing. A second server that only listens never answers, and is not a fault.

Statistics alone, as in a gateway's own log, say nothing of the downlink flow:
then one port of the two may be the matter (uplink-port-unanswered).

## What to do
1. Check `server_address`, `serv_port_up` and `serv_port_down`.
2. Check the firewall's rules for UDP, out and back.
3. Capture at the server. If the datagrams arrive there, the way back is the
   matter, or the server's program.
4. If it began at some moment, ask what was changed then.

## Example
All is acknowledged until 08:52:57. After that none of 14 PUSH_DATA and 46
PULL_DATA is, and ackr falls to 0.0 in the same minute. The server had been
moved, and its name pointed to the old address for another day.

## Source
The gateway packet-forwarder protocol, sections 3 to 6; meaning of `ackr` and
of its first value: common practice.
";
