//! Cause `counter-restarted-in-a-joined-session`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    ladder::{
        finding::Finding,
        session::{self, Case, Story, counting},
    },
    trace::Origin,
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::CounterRestartedInAJoinedSession,
    what: "a node that joined began to count its frames from 0 again",
    places: &[Place::Session(session::Rung::Fresh)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

fn check(_: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    if matches!(story.session.origin, Origin::Claim(_)) {
        return None;
    }
    counting::restart(story.session, None)
}

const PAGE: &str = r#"# counter-restarted-in-a-joined-session
The FCnt of a session that began with a join fell back to a low value,
without a new join, and the server refuses the frames as old.

## What is seen
At the server: "counter" or "replay" errors, or one lumped message in which
a wrong MIC is named as well. At the gateway: good frames with small FCnt
and no Join-Request before them. At the node: it sends as always; confirmed
frames get no ACK.

## Why it happens
The node stored keys and address of its session, but not its counter, or
stored it too seldom: after a power cut, a reset or an update it goes on
with the old session and counts from 0. Or its stack restores an old copy of
all of it.

## How to be sure
For each frame find the upper half u of the counter for which the MIC holds
(FCnt is 32 bits, the frame carries the low 16). If it holds with u = 0 and
a value not above an earlier one, for the same DevAddr and keys, and there
was no join between, the node restarted. The false-match probability is 1 in
4 294 967 296 for a frame and each u tried.

A copy that comes late has an old counter, too, but equal bytes; so has a
frame that is sent again for lack of an ACK. The same FCnt with another
payload is neither. A fall from about 65 535 to 0, with the MIC good for
u + 1, is a rollover and no fault.

## What to do
1. Let the node join again after each restart, or store FCnt with the
   session, often enough, and step ahead by the interval after a restart.
2. Make the node join now: a new session has new keys.
3. Do not reset the server's counter: it would take the old frames again.
4. A counter that restarts also repeats the key stream: two frames with one
   FCnt reveal their difference. New keys fix that.

## Example
Probe-05 joined on Monday; FCnt 211, 212, then after a change of batteries
0, 1, 2. All MICs hold with u = 0, and no Join-Request is in the capture.
The server's last is 212. With the session erased at start the probe joins
and is heard.

## Source
LoRaWAN 1.0.3, p. 19; 1.0.4, p. 22-23; 1.1, 4.3.1.5.
"#;
