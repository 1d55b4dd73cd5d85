//! Cause `confirmed-counter-wrong-in-the-mic`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Cite, Fact, Value, fact},
    ladder::{
        finding::Finding,
        session::{self, Case, Story, signed},
    },
    trace::Rule,
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::ConfirmedCounterWrongInTheMic,
    what: "frames with ACK are signed with another ConfFCnt than the frame that they acknowledge has",
    places: &[Place::Session(session::Rung::Authentic), Place::Session(session::Rung::Received)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

/// So many frames decide.
const DECIDE: usize = 2;

fn check(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    downwards(case, story).or_else(|| upwards(story))
}

fn remedy() -> Fact {
    "sign frames with ACK over ConfFCnt: the low 16 bits of the counter of the frame that is acknowledged"
        .into()
}

fn certainty(frames: usize) -> Certainty {
    if frames >= DECIDE { Certainty::Certain } else { Certainty::Likely }
}

fn downwards(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let wrong = signed::wrong_conf(case, story);
    let first = wrong.first()?;
    let mut finding = Finding::new(
        certainty(wrong.len()),
        fact!(
            "{downlinks} with ACK hold with ConfFCnt {used}, and acknowledge FCnt {expected}: the node \
             drops them",
            downlinks = Value::Count(wrong.len() as u64, "downlink"),
            used = first.used,
            expected = first.expected
        ),
        remedy(),
    );
    for wrong in wrong.iter().take(4) {
        finding.add(fact!(
            "{downlink}: acknowledges {uplink}, FCnt {expected}; the MIC holds with ConfFCnt {used}",
            downlink = Cite::from(wrong.sending).with_time(),
            uplink = story.cite_turn(wrong.turn),
            expected = wrong.expected,
            used = wrong.used
        ));
    }
    Some(finding.matched_by_chance(16.0, wrong.len()))
}

fn upwards(story: &Story<'_>) -> Option<Finding> {
    let mut wrong = Vec::new();
    for (number, turn) in story.turns().iter().enumerate().skip(1) {
        let Some(seen) = story.seen(turn.first()) else { continue };
        let Some(context) = seen.held.context else { continue };
        let of_1_1 = story.session.candidate_of(seen).is_some_and(|c| c.rule == Rule::V1_1);
        if !of_1_1 || !seen.data.frame().fctrl.ack() || turn.missed > 0 {
            continue;
        }
        let before = story.turns().get(number - 1);
        let confirmed: Vec<u16> = before
            .iter()
            .flat_map(|turn| story.downs_of(turn))
            .filter_map(|place| story.frame(place))
            .filter(|frame| frame.mhdr.ftype().is_confirmed())
            .map(|frame| frame.fcnt)
            .collect();
        if let [expected] = confirmed.as_slice()
            && *expected != context.conf_fcnt
        {
            wrong.push((turn.first(), *expected, context.conf_fcnt));
        }
    }
    let (_, expected, used) = *wrong.first()?;
    let mut finding = Finding::new(
        certainty(wrong.len()),
        fact!(
            "{uplinks} with ACK hold with ConfFCnt {used}, and acknowledge FCntDown {expected}: the \
             server drops them",
            uplinks = Value::Count(wrong.len() as u64, "uplink"),
            used,
            expected
        ),
        remedy(),
    );
    for (place, expected, used) in wrong.iter().take(4) {
        finding.add(fact!(
            "{uplink}: acknowledges FCntDown {expected}; the MIC holds with ConfFCnt {used}",
            uplink = story.cite(*place),
            expected = *expected,
            used = *used
        ));
    }
    Some(finding.matched_by_chance(16.0, wrong.len()))
}

const PAGE: &str = r"# confirmed-counter-wrong-in-the-mic
In 1.1 the MIC of a frame with ACK covers the counter of the frame that it
acknowledges. One side puts another counter there.

## What is seen
At the node: downlinks without ACK arrive, those with ACK are dropped;
confirmed frames are repeated. Or at the server: uplinks with ACK fail.

## Why it happens
ConfFCnt is the low half of the counter of the confirmed frame, only in
frames with ACK, and 0 otherwise. A stack that leaves it 0, that takes the
last confirmed frame in place of the one just received, or its own counter,
signs another block.

## How to be sure
Frames without ACK hold. Compute the MIC of those with ACK over the right
ConfFCnt: it fails. With 0, or with the counter of a neighbouring frame, it
holds. Two frames decide.

Try this before downlinks-signed-with-another-key. LoRaWAN 1.0.x has no
ConfFCnt.

## What to do
1. Correct ConfFCnt on the side named.
2. Until then use unconfirmed frames that way.

## Example
probe-23 sends confirmed frames FCnt 1, 2, 3. The ACK for FCnt 2 holds with
ConfFCnt 1, the ACK for FCnt 3 with ConfFCnt 2.

## Source
LoRaWAN 1.1, 4.4.1 (downlinks), 4.4.2 (uplinks).
";
