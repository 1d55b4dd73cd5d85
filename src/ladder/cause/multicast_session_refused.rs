//! Cause `multicast-session-refused`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Value, fact},
    ladder::{
        finding::Finding,
        session::{self, Case, Story, groups},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::MulticastSessionRefused,
    what: "the node refuses the session of a multicast group, and frames are sent to it all the same",
    places: &[Place::Session(session::Rung::Settled)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

fn check(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    groups::of(case, story).iter().find_map(|group| {
        let sessions = group.sessions(story);
        // Answered since, it is over.
        let last = sessions.iter().rev().find(|session| session.answer.is_some())?;
        let answer = last.answer.filter(|_| last.is_refused())?;
        let frames = group.frames(case);
        // A session that the node took before may go on.
        let open = |sent: &&groups::Sent<'_>| {
            sessions.iter().any(|session| {
                session.is_taken() && session.outside_s(story, sent).is_none_or(|by| by == 0)
            })
        };
        let after = frames.iter().filter(|sent| sent.sending.line > answer.line);
        let own: Vec<_> = after.filter(|sent| !open(sent)).collect();
        if own.is_empty() {
            return None;
        }
        let mut finding = Finding::new(
            groups::sureness(own.iter().copied()),
            fact!(
                "the node refuses the session of multicast group {group} (McAddr {mc_addr}): {errors}; \
                 {frames} go to the group all the same",
                group = group.id,
                mc_addr = group.addr,
                errors = Value::list(answer.errors()),
                frames = Value::count(own.len(), "frame")
            ),
            "correct the value that the bit names, ask again, and send when the node has taken it",
        );
        finding.add(fact!(
            "{request}: {command}",
            request = last.asked.cite(story),
            command = Value::Command(Box::new(last.asked.command.clone()))
        ));
        finding.add(fact!(
            "{answer}: {errors}",
            answer = answer.cite(story),
            errors = Value::list(answer.errors())
        ));
        for sent in own.iter().take(2) {
            finding.add(fact!("{downlink}: sent to the group", downlink = sent.cite()));
        }
        Some(finding)
    })
}

const PAGE: &str = r"# multicast-session-refused
The node refuses to listen for a multicast group, and the server sends all
the same.

## What is seen
At the server: frames sent to the group. At the node: nothing; it said why.

## Why it happens
McClassCSessionAns and McClassBSessionAns have a bit for each reason:
FreqError (a frequency that the node cannot use), DRError (a data rate that
it does not have), McGroupUndefined (it has no such group), StartMissed (the
session's time is past). The server does not read them, or another group of
people sends.

## How to be sure
The last answer has one of the bits, and frames with the group's McAddr come
after it. One answer is enough: it says so itself.

## What to do
1. FreqError, DRError: take values that the region and the node have.
2. McGroupUndefined: set up the group first.
3. StartMissed: choose a later SessionTime.

## Example
McClassCSessionReq asks for 915.0 MHz in EU868; the answer is FreqError. The
image is sent all the same, to nobody.

## Source
TS005-2.0.0, p. 13-17.
";
