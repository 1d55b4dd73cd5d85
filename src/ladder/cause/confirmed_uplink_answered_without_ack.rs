//! Cause `confirmed-uplink-answered-without-ack`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        session::{
            self, Case, Story,
            answered::asks::{self, Asked},
        },
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::ConfirmedUplinkAnsweredWithoutAck,
    what: "confirmed uplinks are answered by downlinks whose ACK bit is 0",
    places: &[Place::Session(session::Rung::Answered)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

/// So many confirmed uplinks decide.
const DECIDE: usize = 2;

fn check(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let open = asks::in_vain(case, story, Asked::Ack);
    let mut own = Vec::new();
    for number in open {
        let Some(turn) = story.turns().get(number) else { continue };
        let downs = story.downs_of(turn);
        let misses =
            |down: &usize| story.aims.iter().any(|aim| aim.down == *down && aim.is_wrong());
        // A downlink in no window acknowledges nothing in any case.
        let good = downs.iter().copied().find(|down| !misses(down));
        let repeated = turn.sent.len() > 1;
        if let (Some(down), true) = (good, repeated) {
            own.push((number, down));
        }
    }
    let first = own.first()?;
    let certainty = if own.len() >= DECIDE { Certainty::Certain } else { Certainty::Likely };
    let mut finding = Finding::new(
        certainty,
        fact!(
            "{uplinks} answered by a downlink with ACK 0: the node repeats them",
            uplinks = Value::Count(own.len() as u64, "confirmed uplink")
        ),
        "set the ACK bit in the first downlink after a confirmed uplink",
    );
    let _ = first;
    for (turn, down) in own.iter().take(4) {
        finding.add(fact!(
            "{uplink}: confirmed, FCnt {fcnt}; {downlink} answers it with ACK 0, and it is sent \
             {times}",
            uplink = story.cite_turn(*turn),
            fcnt = story.turns().get(*turn).map_or(0, |turn| turn.fcnt),
            downlink = story.cite(*down),
            times = Value::Count(
                story.turns().get(*turn).map_or(0, |turn| turn.sent.len()) as u64,
                "time"
            )
        ));
    }
    Some(finding)
}

const PAGE: &str = r"# confirmed-uplink-answered-without-ack
Confirmed uplinks are answered in the right window, and the ACK bit is not
set.

## What is seen
At the server: downlinks sent, the application's data arrives. At the node:
downlinks received, and the same uplink repeated again and again.

## Why it happens
The application's downlink is sent as it was queued, and the acknowledgement
is left to a frame of its own that never follows. Or the server sets ACK for
frames without payload alone.

## How to be sure
A confirmed uplink; a downlink in its window, with a good MIC, bit 5 of
FCtrl 0; the same FCnt from the node again. Two such uplinks decide.

Data that follows an ACK needs no ACK of its own. If the repeat is answered
with ACK, there is no fault. Downlinks at a wrong time or rate are faults of
windows.

## What to do
1. Let the server set ACK in the first downlink after a confirmed uplink,
   whatever else is in it.
2. Until then use unconfirmed uplinks where the application can bear it.

## Example
probe-14 sends FCnt 0, confirmed. Line 11: downlink in RX1, FPort 5, one
byte, ACK 0. FCnt 0 is sent three times more, each answered likewise.

## Source
LoRaWAN 1.0.4, p. 20 (ACK).
";
