//! Cause `ghost-copy-of-a-node-too-close-to-the-gateway`.

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
    id: CauseId::GhostCopyOfANodeTooCloseToTheGateway,
    what: "a node next to the gateway is heard twice, and the server keeps the ghost",
    places: &[Place::Session(session::Rung::Heard)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

/// A ghost is this much weaker than its original.
const GHOST_DB: f32 = 20.0;

fn check(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let Origin::Accept { attempt: index, .. } = story.session.origin else { return None };
    let attempt = case.node.attempts.get(index)?;
    let (strong, weak) = attempt.heard.ghost()?;
    let (high, low) = (strong.rssi?, weak.rssi?);
    if high - low < GHOST_DB || !attempt.answers.iter().any(|a| copies::answers(a, attempt, weak)) {
        return None;
    }
    let began = copies::sessions_of(case, index);
    let of_ghost = began.iter().find(|(_, answer)| copies::answers(answer, attempt, weak));
    let recorded = case.record().and_then(|record| record.dev_addr);
    let kept = of_ghost.is_some_and(|(session, _)| recorded == Some(session.dev_addr));
    let twice = attempt.answers.len() >= 2;
    let mut finding = Finding::new(
        if kept || twice { Certainty::Certain } else { Certainty::Likely },
        fact!(
            "one request was received twice by one gateway, on {frequency} at {rssi} and on \
             {ghost_frequency} at {ghost_rssi}: the node is too close, and the server {did} the ghost",
            frequency = frequency(strong),
            rssi = Value::Dbm(high.into()),
            ghost_frequency = frequency(weak),
            ghost_rssi = Value::Dbm(low.into()),
            did = if kept { "kept the session of" } else { "answered" }
        ),
        "move the node away from the gateway (a few metres, RSSI well below -30 dBm) and let it join \
         again; let the server keep the strongest of identical copies",
    );
    if let (Some(a), Some(b)) = (strong.tmst, weak.tmst) {
        let apart = a.wrapping_sub(b).min(b.wrapping_sub(a));
        finding.add(fact!(
            "{request} and {ghost}: the same bytes {apart} us apart, {difference} apart",
            request = Cite::from(strong).with_time(),
            ghost = Cite::from(weak).with_time(),
            apart,
            difference = Value::Db((high - low).into())
        ));
    }
    for (session, answer) in &began {
        let of = if copies::answers(answer, attempt, weak) { "the ghost" } else { "the original" };
        finding.add(fact!(
            "{accept}: accept for {of}, DevAddr {dev_addr}, {frames} authenticate",
            accept = Cite::from(&answer.sending).with_time(),
            of,
            dev_addr = session.dev_addr,
            frames = Value::Count(session.frames.len() as u64, "data frame")
        ));
    }
    if let Some(addr) = recorded {
        finding.add(fact!("the record holds DevAddr {recorded}", recorded = addr));
    }
    Some(finding)
}

fn frequency(sighting: &Sighting) -> Value {
    sighting.freq_hz.map_or(Value::Text("another frequency".into()), Value::Frequency)
}

const PAGE: &str = r"# ghost-copy-of-a-node-too-close-to-the-gateway
One transmission was received on several channels at the same time, and the
ghost was answered or kept.

## What is seen
At the gateway: the same bytes twice within microseconds, on two channels,
one strong and one some 30 dB or more weaker. At the server: two joins, or a
session that never fits. At the node: an accept missed, or data refused.

## Why it happens
A transmitter a metre from the antenna overloads the receiver. The signal
appears in other channels, too, as a weak image. A server that takes the
frequency as part of a frame's identity sees two requests and answers both;
it may keep the session of the ghost, or answer on the ghost's channel,
where the node does not listen.

## How to be sure
Group by identical bytes. Same gateway, other channel, within some
microseconds, some 30 dB apart: a ghost. The strong copy is often above
-30 dBm, yet one report has it at -63 dBm, so the level alone decides
nothing. Then find the accept under whose session the data authenticates,
and compare it with the session on record: the MIC settles which one the
node took.

It is not DevNonce reuse, not two nodes and not a replay: it is one
transmission. Seconds apart through another gateway is
late-copy-replaced-the-session. If the strong copy was answered, the ghost
did no harm.

## What to do
1. Move the node 5 m and more away, or put a wall between, and join again.
2. Let the server compare bytes without frequency, keep the strongest copy,
   and refuse a DevNonce just accepted.
3. For commissioning on a table use a load or an attenuator in place of the
   antenna, if you are equipped for it.

## Example
On the shelf next to the gateway: 868.5 MHz at -12 dBm and 868.3 MHz at
-86 dBm, 8 us apart, equal bytes. Two accepts, DevAddr 020C2107 and
020C2108. The data bears 020C2107; the record has 020C2108.

## Source
LoRaWAN 1.0.4, p. 45-46 (one DevNonce, one join); the effect itself is
common practice.
";
