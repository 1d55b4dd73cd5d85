//! Cause `commands-on-port-0-and-in-fopts-together`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, fact},
    frame::{FaultKind, MacVersion},
    ladder::{
        finding::Finding,
        session::{self, Case, Story},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::CommandsOnPort0AndInFoptsTogether,
    what: "MAC commands are in two places of one frame",
    places: &[Place::Session(session::Rung::OnPlan)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

fn check(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let version = case.record_version().or(case.node_version());
    let twice: Vec<usize> = (0..story.session.frames.len())
        .filter(|place| {
            let frame = story.frame(*place);
            frame.is_some_and(|frame| frame.port() == Some(0) && !frame.fopts.is_empty())
        })
        .collect();
    if twice.is_empty() {
        return None;
    }
    // 1.0.4 words the rule otherwise: servers differ.
    let certainty = match version {
        Some(v) if v < MacVersion::V1_0_4 || v == MacVersion::V1_1 => Certainty::Certain,
        Some(_) => return None,
        None => Certainty::Possible,
    };
    let mut finding = Finding::new(
        certainty,
        fact!(
            "MAC commands in FOpts and on FPort 0 of one frame, which {standard} {version} forbids: the \
             receiver drops the frame",
            standard = "LoRaWAN",
            version = version.map_or("", MacVersion::name)
        ),
        "send MAC commands in FOpts or on FPort 0, never in both places of one frame",
    );
    for place in twice.iter().take(4) {
        let Some(seen) = story.seen(*place) else { continue };
        finding.add(fact!(
            "{frame}: FOptsLen {fopts_len}, FPort 0, FCnt {fcnt}; the MIC holds",
            frame = story.cite(*place),
            fopts_len = seen.data.frame().fopts.len(),
            fcnt = seen.held.fcnt
        ));
    }
    finding.add(fact!("{fault}", fault = FaultKind::FOptsWithPort0.to_string()));
    Some(finding)
}

const PAGE: &str = r"# commands-on-port-0-and-in-fopts-together
A frame carries MAC commands in FOpts and on FPort 0 together, and the
receiver drops it.

## What is seen
At the server: the frame is missing or named malformed; FCnt has a gap. At
the gateway: good CRC. At the node: its answers to MAC commands seem lost,
so they are repeated.

## Why it happens
MAC commands are in FOpts or in FRMPayload on FPort 0, not in both. A
stack whose answers outgrow the 15 bytes of FOpts puts the rest on port 0
in place of waiting.

## How to be sure
FOptsLen > 0 and FPort = 0 in one frame, and the MIC holds. The bits are
certain; the judgement depends on the version. In 1.0.0 to 1.0.3 it is a
fault, and the receiver discards the frame. 1.0.4 and 1.1 print the rule for
the node, which shall silently discard such a downlink; how a network treats
such an uplink is worded otherwise in 1.0.4, and servers differ: one that
dropped these frames had to take them again. So name the version and say who
dropped what.

The MIC being good, it is not a key matter. FPort 0 with empty FOpts is
allowed. FOptsLen larger than the frame is damage, and a decoder that reads
options into the MIC reports nonsense.

## What to do
1. In the node: send at most 15 bytes of answers in FOpts, cut at a command
   boundary; or all on port 0 with FOptsLen 0.
2. In the server: do not send many commands together.
3. A server may take such uplinks of 1.0.4 nodes; a report of the case helps
   its operator.

## Example
Probe-18, 1.0.2: 40 12210C02 82 1100 0307 00 ... : FCtrl 82 is ADR and
FOptsLen 2, FCnt 17, FOpts 0307, FPort 00. LinkADRAns lies in FOpts, five
more answers on port 0. The server drops FCnt 17 and asks again.

## Source
LoRaWAN 1.0.4, p. 23; 1.1, 4.3.1.6; 1.0.3, chapter 5.
";
