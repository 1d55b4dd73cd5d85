//! Cause `frame-size-over-the-limit`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, fact},
    ladder::{
        finding::Finding,
        session::{self, Case, Story, on_plan::frames},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::FrameSizeOverTheLimit,
    what: "a frame carries more bytes than its data rate allows",
    places: &[Place::Session(session::Rung::OnPlan)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

/// Frames that evidence names.
const NAMED: usize = 4;

fn check(_: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let plan = story.plan?;
    let long = frames::oversize(story, plan);
    let first = long.first()?;
    let mut finding = Finding::new(
        Certainty::Certain,
        fact!(
            "a MACPayload of {bytes} bytes at {data_rate}, where {region} allows {most}: the receiver \
             drops the frame",
            bytes = first.octets,
            data_rate = first.rate,
            region = plan.name,
            most = first.most
        ),
        "send less in a frame, or at a faster data rate; the limit counts FHDR, FOpts and FPort as well",
    );
    for frame in long.iter().take(NAMED) {
        finding.add(fact!(
            "{frame}: {bytes} bytes of MACPayload at {data_rate}, {most} at the most",
            frame = story.cite(frame.place),
            bytes = frame.octets,
            data_rate = frame.rate,
            most = frame.most
        ));
    }
    Some(finding)
}

const PAGE: &str = r#"# frame-size-over-the-limit
After the join a frame is longer than the regional limit for its data rate
allows.

## What is seen
At the node: the stack refuses to send ("length error"), or sends and loses
the frame. At the gateway: a good reception, longer than the rate allows. At
the server: discarded, FCnt with a gap. It begins when ADR or the fall-back
slows the node down, or when a MAC command is added.

## Why it happens
MACPayload may have M bytes at most, by region and data rate; the receiver
shall discard a longer one. FRMPayload gets N = M - 1 - FHDR, and FHDR is
7 bytes plus FOpts. So the room shrinks with each command in FOpts. Dwell
limits of 400 ms and repeater support lower M further.

## How to be sure
length of PHYPayload - 5 is MACPayload; compare with M of region, revision,
data rate and dwell setting. Uplink US915: DR0 M 19, DR1 61, DR2 133,
DR3 250. EU868: DR0 to DR2 59, DR3 123, DR4 and up 250. Above M is certain
as arithmetic. Whether it was dropped for it is for the server to say: many
take longer frames.

Revisions differ: AS923 DR2 without dwell limit is 59 up to 1.0.2 and 123 from
RP002-1.0.1 on. With repeater support the limit is 230, not 250. If the MIC
fails, fix that first. A frame that is short enough and lost has another
cause.

## What to do
1. Ask the stack for the room left before each frame; split or shorten the
   payload.
2. Design for the slowest rate that ADR may choose.
3. Send long MAC answers in a frame without payload.
4. Do not force a faster rate at the edge of range, nor exceed a dwell
   limit: that is a matter of local rules.

## Example
US915, DR0 (SF10). Probe-13 sends 14 bytes on port 2, no FOpts: MACPayload
7 + 1 + 14 = 22 > 19. The 27 bytes of the frame last 411.6 ms, over the
400 ms of dwell; 24 bytes last 370.7 ms. Allowed are 11 bytes, with a
2 byte command 9.

## Source
LoRaWAN 1.0.4, p. 15 and 24; RP002-1.0.1, 2.5 Table 17, 2.4 Tables 9 and 10;
RP002-1.0.5, Table 73 (AS923).
"#;
