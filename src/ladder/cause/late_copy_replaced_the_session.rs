//! Cause `late-copy-replaced-the-session`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Cite, Value, fact},
    ladder::{
        finding::Finding,
        session::{self, Case, Story, copies},
    },
    trace::{Origin, Sighting},
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::LateCopyReplacedTheSession,
    what: "a late copy of the request was answered as a new join",
    places: &[Place::Session(session::Rung::Authentic)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

/// A copy this late can be answered on its own.
const LATE_US: i64 = 1_000_000;

fn check(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let Origin::Accept { attempt: index, .. } = story.session.origin else { return None };
    let attempt = case.node.attempts.get(index)?;
    let first = attempt.heard.first();
    let apart = |s: &&Sighting| match (s.at, first.at) {
        (Some(b), Some(a)) => b.as_microsecond() - a.as_microsecond() >= LATE_US,
        _ => false,
    };
    let late = attempt.heard.sightings().find(|s| s.gateway != first.gateway && apart(s))?;
    let by = late.at?.as_microsecond() - first.at?.as_microsecond();
    let began = copies::sessions_of(case, index);
    // The accept that came after the late copy.
    let second =
        began.iter().find(|(_, a)| a.sending.line > late.line || copies::answers(a, attempt, late));
    let (new, answer) = second?;
    let (old, _) = began.iter().find(|(session, _)| session.dev_addr != new.dev_addr)?;
    let recorded = case.record().and_then(|record| record.dev_addr);
    let kept = recorded == Some(new.dev_addr);
    let used = old.frames.len() > new.frames.len();
    // Told of the session that the node uses, or else of the one that the server keeps.
    let own = if used { old } else { new };
    if !kept && !used || own.dev_addr != story.session.dev_addr {
        return None;
    }
    let mut finding = Finding::new(
        if used { Certainty::Certain } else { Certainty::Likely },
        fact!(
            "a copy of the request came {late} later through another gateway and was taken for a new join: \
             the server keeps DevAddr {server_dev_addr}, the node {dev_addr}",
            late = Value::About(by),
            server_dev_addr = new.dev_addr,
            dev_addr = old.dev_addr
        ),
        "let the server refuse a DevNonce that it has just accepted; find out why that gateway is so slow",
    )
    .and(fact!(
        "{request}: the request; {copy}: its copy",
        request = Cite::from(first).with_time(),
        copy = Cite::from(late).with_time()
    ))
    .and(fact!(
        "{accept}: the accept for the copy, DevAddr {server_dev_addr}",
        accept = Cite::from(&answer.sending).with_time(),
        server_dev_addr = new.dev_addr
    ))
    .and(fact!(
        "data that authenticates: {frames} under {dev_addr}, {server_frames} under {server_dev_addr}",
        frames = old.frames.len(),
        dev_addr = old.dev_addr,
        server_frames = new.frames.len(),
        server_dev_addr = new.dev_addr
    ));
    if let Some(addr) = recorded {
        finding.add(fact!("the record holds DevAddr {recorded}", recorded = addr));
    }
    Some(finding)
}

const PAGE: &str = r#"# late-copy-replaced-the-session
A copy of the request through a slow gateway was taken for a new join, and
its session replaced the right one.

## What is seen
At the server: two joins a few seconds apart; after that every data frame
has a wrong MIC or an unknown DevAddr. At the node: joined, content, never
heard. At the gateways: each heard one transmission.

## Why it happens
The server collects copies for a short time, some hundred milliseconds. A
gateway with a slow backhaul delivers its copy seconds later. If the
DevNonce of a request just accepted is not refused, the server answers
again, makes a new DevAddr and new keys, and drops the old session. The node
has long taken the first accept and does not listen.

## How to be sure
Two PUSH_DATA with identical bytes from different gateways, seconds apart
in arrival, and an accept for each. The wall-clock time of reception
(`time`, if the gateways have it) is equal: one transmission. Data
authenticates under the first accept and not under the second, while the
record has the second.

It is not a second join of the node: that has another DevNonce. It is no
attack: a copy a few seconds late is explained by the way. A ghost copy
comes through the same gateway within microseconds. If the data fits the
second accept, the node did join again and all is well.

## What to do
1. Let the server refuse a DevNonce that it has just accepted, in every
   version.
2. Let it keep the old session until an uplink under the new one
   authenticates, as the standard has it for 1.0.3.
3. Improve the slow backhaul, or take that gateway off.
4. To recover, let the node join once more.

## Example
Probe-09, DevNonce 5C21. Copy by the shed: 06:00:00.040, accept with DevAddr
020C2109. Copy by the hill: 06:00:03.910, accept with DevAddr 020C4433. Data
of 020C2109 at 06:10 authenticates under the first accept; the server says
"unknown".

## Source
LoRaWAN 1.0.3, p. 35 (values remembered, old session kept); 1.0.4, p. 45-46.
"#;
