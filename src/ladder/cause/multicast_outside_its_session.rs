//! Cause `multicast-outside-its-session`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        join::timely::SAME_HZ,
        session::{
            self, Case, Story,
            groups::{self, Listening, Sent},
        },
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::MulticastOutsideItsSession,
    what: "frames for a multicast group are sent when its session is not open",
    places: &[Place::Session(session::Rung::Timely)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

/// By less a clock may be off, seconds.
const CLOCK_S: i64 = 5;
/// By so much none is.
const SURELY_S: i64 = 60;

fn check(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    groups::of(case, story).iter().find_map(|group| {
        let sessions = group.sessions(story);
        let mut own: Vec<(Sent<'_>, i64, &Listening<'_>)> = Vec::new();
        for sent in group.frames(case) {
            let known = |one: &&Listening<'_>| {
                one.is_taken() && one.answer.is_some_and(|ans| ans.line < sent.sending.line)
            };
            let apart = |one| Some((Listening::outside_s(one, story, &sent)?, one));
            // Of several sessions the nearest.
            let nearest = sessions.iter().filter(known).filter_map(apart);
            let Some((by, session)) = nearest.min_by_key(|(by, _)| *by) else { continue };
            if by <= CLOCK_S {
                own.clear();
            } else if !is_heard_in_class_c(story, &sent) {
                own.push((sent, by, session));
            }
        }
        let (_, by, session) = own.first()?;
        let surely = own.iter().all(|(_, by, _)| *by >= SURELY_S)
            && session.node_starts_s(story).is_some();
        let (start, end) = session.span_s();
        let mut finding = Finding::new(
            if surely {
                groups::sureness(own.iter().map(|(sent, ..)| sent))
            } else {
                Certainty::Likely
            },
            fact!(
                "{frames} for multicast group {group} (McAddr {mc_addr}) outside its session, the first \
                 by {apart}",
                frames = Value::count(own.len(), "frame"),
                group = group.id,
                mc_addr = group.addr,
                apart = Value::About(by.saturating_mul(1_000_000))
            ),
            "give SessionTime in GPS time (seconds since 6 January 1980, leap seconds not taken out), \
             and send between it and the time-out",
        );
        finding.add(fact!(
            "{request}: the session is open from GPS second {session_time} on for {seconds} s",
            request = session.asked.cite(story),
            session_time = start,
            seconds = end - start
        ));
        for (sent, by, _) in own.iter().take(4) {
            let seconds = sent.gps_ms().unwrap_or_default() / 1_000;
            finding.add(fact!(
                "{downlink}: at GPS second {seconds}, {apart} {side}",
                downlink = sent.cite(),
                seconds,
                apart = Value::About(by.saturating_mul(1_000_000)),
                side = if seconds < start { "before it opens" } else { "after it closed" }
            ));
        }
        Some(finding)
    })
}

/// Whether a frame is where a node in class C listens all the time.
fn is_heard_in_class_c(story: &Story<'_>, sent: &Sent<'_>) -> bool {
    let Some(plan) = story.plan else { return true };
    let belief = story.settings.last();
    let hz = belief.rx2_freq().want.zip(sent.sending.freq_hz);
    let rate = belief.rx2_modulation(plan).want.zip(sent.sending.modulation);
    hz.is_none_or(|(want, got)| want.abs_diff(got) < SAME_HZ)
        && rate.is_none_or(|(want, got)| want == got)
}

const PAGE: &str = r"# multicast-outside-its-session
Frames for a multicast group go out before its session opens, or after it
closed.

## What is seen
At the server: frames sent to the group, by none received. At the nodes:
the session was agreed on, and in its time nothing came.

## Why it happens
SessionTime is GPS time; a server that takes Unix time, or takes leap
seconds out, is years or seconds off. A queue that is slow sends after the
time-out, at which the nodes go back to their own class.

## How to be sure
SessionTime and the time-out are in the session request; TimeToStart in the
answer is the node's own view. Both agree with the capture's clock to some
seconds, and the frames lie outside by minutes: certain. By seconds: likely,
since a clock may be off.

A node in class C hears what comes on its RX2 at any time.

## What to do
1. Compute SessionTime as Unix time - 315964800 + 18.
2. Make the time-out longer than the sending takes.

## Example
SessionTime is ten minutes from the answer, TimeToStart says so too. The
frames go out two minutes after the answer, on the session's frequency.

## Source
TS005-2.0.0, p. 13-16.
";
