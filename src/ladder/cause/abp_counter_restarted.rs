//! Cause `abp-counter-restarted`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    ladder::{
        finding::Finding,
        session::{self, Case, Story, counting},
    },
    trace::Origin,
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::AbpCounterRestarted,
    what: "an ABP node began to count its frames from 0 again",
    places: &[Place::Session(session::Rung::Fresh)],
    kind: Kind::Exact,
    checks: &[
        Check::Session(check),
        Check::Session(session::told::of_a_claim),
        Check::Join(session::told::of_a_node),
    ],
    page: PAGE,
};

fn check(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    if !matches!(story.session.origin, Origin::Claim(_)) {
        return None;
    }
    counting::restart(story.session, case.record().and_then(|record| record.last_fcnt_up))
}

const PAGE: &str = r#"# abp-counter-restarted
The FCnt of a session without join fell back to a low value, and the server
refuses the frames as old.

## What is seen
At the server: "counter" or "replay" errors, or one lumped message in which
a wrong MIC is named as well. At the gateway: good frames with small FCnt.
At the node: it sends as always; confirmed frames get no ACK.

## Why it happens
With activation by personalisation (ABP) the session lasts for ever, and
FCnt must never restart. A node that keeps FCnt in volatile memory starts at
0 after a power cut, a reset or an update.

## How to be sure
For each frame find the upper half u of the counter for which the MIC holds
(FCnt is 32 bits, the frame carries the low 16). If it holds with u = 0 and a
value far below the last accepted, for the same DevAddr and keys, the node
restarted. The false-match probability is 1 in 4 294 967 296 for a frame and
each u tried.

A fall from about 65 535 to 0, with the MIC good for u + 1, is a rollover
and no fault. A new DevAddr is a new session and may start at 0. A copy that
comes late has an old counter, too, but equal bytes. "Attack" is not shown
by a low counter: here the row goes on counting.

## What to do
1. Store FCnt in non-volatile memory, often enough, and step ahead by the
   interval after a restart.
2. Better: use OTAA, where a restart makes a new session.
3. To recover, reset the server's counter once. This lets old frames be
   replayed; do not leave the check off for good.
4. A counter that restarts also repeats the key stream: two frames with one
   FCnt reveal their difference. Change the keys if that matters.

## Example
Orchard gauge, ABP, DevAddr 020C2120. FCnt 4181, 4182, then after a storm 0,
1, 2. All MICs hold with u = 0; the server's last is 4182. It would take the
gauge again at 4183, after 4 181 more frames: 29 days at ten minutes each.

## Source
LoRaWAN 1.0.3, p. 19; 1.0.4, p. 22-23; 1.1, 4.3.1.5.
"#;
