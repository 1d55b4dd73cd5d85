//! Cause `multicast-frame-of-a-forbidden-kind`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    frame::DataFrame,
    ladder::{
        finding::Finding,
        session::{
            self, Case, Story,
            groups::{self, Sent},
        },
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::MulticastFrameOfAForbiddenKind,
    what: "frames for a multicast group are confirmed, acknowledge, or carry MAC commands",
    places: &[Place::Session(session::Rung::Received)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

fn check(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    groups::of(case, story).iter().find_map(|group| {
        let all = group.frames(case);
        // What follows in the right kind shows that this is over.
        all.last().and_then(|last| forbidden(last.frame))?;
        let own: Vec<(&Sent<'_>, &'static str)> =
            all.iter().filter_map(|sent| Some((sent, forbidden(sent.frame)?))).collect();
        let proven = own.iter().filter(|(sent, _)| sent.fcnt().is_some()).count();
        let (_, kind) = own.first()?;
        let mut finding = Finding::new(
            if proven > 0 { Certainty::Certain } else { Certainty::Likely },
            fact!(
                "{frames} for multicast group {group} (McAddr {mc_addr}) {kind}: a node drops what a \
                 group may not get",
                frames = Value::count(own.len(), "frame"),
                group = group.id,
                mc_addr = group.addr,
                kind = *kind
            ),
            "send unconfirmed data alone to a group: no ACK, no MAC commands, no FPort 0",
        );
        for (sent, kind) in own.iter().take(4) {
            finding.add(fact!(
                "{downlink}: {frame_type}: it {kind}",
                downlink = sent.cite(),
                frame_type = sent.frame.mhdr.ftype().title(),
                kind = *kind
            ));
        }
        Some(if proven > 0 { finding.matched_by_chance(groups::TRIED, proven) } else { finding })
    })
}

/// What a frame has that a group may not get (LoRaWAN 1.0.4, 11.2.2).
fn forbidden(frame: &DataFrame) -> Option<&'static str> {
    if frame.mhdr.ftype().is_confirmed() {
        Some("ask for an acknowledgement")
    } else if frame.fctrl.ack() {
        Some("set ACK")
    } else if !frame.fopts.is_empty() || frame.port() == Some(0) {
        Some("carry MAC commands")
    } else {
        None
    }
}

const PAGE: &str = r"# multicast-frame-of-a-forbidden-kind
Frames for a multicast group are of a kind that a group may not get.

## What is seen
At the server: frames sent to the group, confirmed ones perhaps repeated.
At the nodes: dropped without a word.

## Why it happens
The server treats the group as one more node: it asks for acknowledgements,
or puts MAC commands that wait for all nodes into the frame.

## How to be sure
The frame carries the group's McAddr, its MIC holds under the group's
McNwkSKey, and it is confirmed, has ACK set, has FOpts, or FPort 0. The
standard allows none of them on a multicast address.

## What to do
1. Switch confirmed downlinks off for the group.
2. Send MAC commands to each node by itself.

## Example
Four frames to McAddr 11A10001 are of type confirmed data down. None of the
probes takes them; the same data, unconfirmed, arrives.

## Source
LoRaWAN 1.0.4, 11.2.2.
";
