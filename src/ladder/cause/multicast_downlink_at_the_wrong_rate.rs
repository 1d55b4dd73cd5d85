//! Cause `multicast-downlink-at-the-wrong-rate`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Fact, Value, fact},
    frame::Direction,
    ladder::{
        finding::Finding,
        join::timely::SAME_HZ,
        session::{
            self, Case, Story,
            groups::{self, Listening, Sent},
        },
    },
    region::Plan,
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::MulticastDownlinkAtTheWrongRate,
    what: "frames for a multicast group are sent on another frequency, or at another data rate, than its session has",
    places: &[Place::Session(session::Rung::Timely)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

fn check(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let plan = story.plan?;
    groups::of(case, story).iter().find_map(|group| {
        let sessions = group.sessions(story);
        let mut own: Vec<(Sent<'_>, &Listening<'_>)> = Vec::new();
        for sent in group.frames(case) {
            let Some(session) = groups::in_force(&sessions, &sent) else { continue };
            // At another time the node listens elsewhere.
            if session.outside_s(story, &sent).is_some_and(|by| by > 0) {
                continue;
            }
            match is_wrong(plan, session, &sent) {
                Some(true) => own.push((sent, session)),
                Some(false) => own.clear(),
                None => {}
            }
        }
        let (first, session) = own.first()?;
        let mut finding = Finding::new(
            groups::sureness(own.iter().map(|(sent, _)| sent)),
            fact!(
                "{frames} for multicast group {group} (McAddr {mc_addr}): {radio}, where its session is \
                 on {expected}",
                frames = Value::count(own.len(), "frame"),
                group = group.id,
                mc_addr = group.addr,
                radio = radio(first.sending.freq_hz, first.sending.modulation),
                expected = radio(session.hz(), rate(plan, session))
            ),
            "send to the group on the frequency and at the data rate of its session, or set up a \
             session with those that are used",
        );
        finding.add(fact!(
            "{request}: {command}",
            request = session.asked.cite(story),
            command = Value::Command(Box::new(session.asked.command.clone()))
        ));
        if let Some(answer) = session.answer {
            finding.add(fact!("{answer}: the node takes it", answer = answer.cite(story)));
        }
        for (sent, _) in own.iter().take(4) {
            finding.add(fact!(
                "{downlink}: {radio}",
                downlink = sent.cite(),
                radio = radio(sent.sending.freq_hz, sent.sending.modulation)
            ));
        }
        Some(finding)
    })
}

fn rate(plan: &Plan, session: &Listening<'_>) -> Option<crate::radio::Modulation> {
    plan.dr(Direction::Downlink, session.data_rate()?)
}

/// Whether a frame is not where its session is; none where neither is known.
fn is_wrong(plan: &Plan, session: &Listening<'_>, sent: &Sent<'_>) -> Option<bool> {
    let frequency = session.hz().zip(sent.sending.freq_hz);
    let frequency = frequency.map(|(want, got)| want.abs_diff(got) >= SAME_HZ);
    let rate = rate(plan, session).zip(sent.sending.modulation).map(|(want, got)| want != got);
    match (frequency, rate) {
        (Some(true), _) | (_, Some(true)) => Some(true),
        (None, None) => None,
        _ => Some(false),
    }
}

fn radio(hz: Option<u32>, rate: Option<crate::radio::Modulation>) -> Fact {
    let mut parts = Vec::new();
    parts.extend(hz.map(|hz| fact!("{frequency}", frequency = Value::Frequency(hz))));
    parts.extend(rate.map(|rate| fact!("{data_rate}", data_rate = Value::Rate(rate))));
    Fact::joined(parts, " ")
}

const PAGE: &str = r"# multicast-downlink-at-the-wrong-rate
Frames for a multicast group go out where the group does not listen.

## What is seen
At the server: frames sent to the group, by none received. At the gateway:
taken and sent. At the nodes: nothing, though the session was agreed on.

## Why it happens
The server sends to the group as it sends to a node of class C: on the RX2
of the region. Or the session was set up with other values than the group
has in the server.

## How to be sure
McClassCSessionReq or McClassBSessionReq names frequency and data rate, and
the answer has no error bit. Frames with the group's McAddr inside the
session's time are on another frequency or at another data rate.

A node in class C hears its own RX2 before and after the session: frames
outside its time are another matter.

## What to do
1. Set the group's frequency and data rate in the server as in the session.
2. Or send a new session request with those that the group uses.

## Example
McClassCSessionReq: 869.525 MHz, DR3. Four frames to McAddr 11A10001 go out
on 868.8 MHz. No node of the orchard takes them.

## Source
TS005-2.0.0, p. 13-16.
";
