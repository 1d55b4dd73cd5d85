//! Cause `counter-upper-half-lost-at-rollover`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Cite, Value, fact},
    ladder::{
        finding::Finding,
        session::{self, Case, Story, counting},
    },
    trace::Origin,
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::CounterUpperHalfLostAtRollover,
    what: "after 65535 node and server count on differently",
    places: &[Place::Session(session::Rung::Fresh)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

fn check(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    server_has_16_bits(case, story)
        .or_else(|| node_forgets(case, story))
        .or_else(|| server_forgets(story))
}

/// The node counts on, and the server has 16 bits.
fn server_has_16_bits(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    if case.record()?.fcnt_bits != Some(16) {
        return None;
    }
    let all = counting::ups(story.session);
    let beyond: Vec<_> = all.iter().filter(|seen| seen.held.fcnt > 0xFFFF).collect();
    let first = beyond.first()?;
    let finding = Finding::new(
        Certainty::Certain,
        "after 65535 the node counts on in 32 bits, the server in 16: from the rollover on every MIC \
         fails on the server",
        "set the record to 32-bit counters",
    )
    .and(fact!(
        "{uplink}: FCnt in the frame is {field}, the MIC holds with {fcnt} and fails with {field}",
        uplink = Cite::from(**first).with_time(),
        field = counting::low(first.held.fcnt),
        fcnt = first.held.fcnt
    ))
    .and(fact!(
        "{frames} beyond 65535; the record's fcnt-bits is 16",
        frames = Value::Count(beyond.len() as u64, "frame")
    ));
    Some(finding.matched_by_chance(2.0, beyond.len()))
}

/// What the MIC would hold with, had the upper half been counted on.
const fn counted_on(before: u32, after: u32) -> u32 {
    (before | 0xFFFF).wrapping_add(1).wrapping_add(counting::low(after))
}

/// The node forgets the upper half.
fn node_forgets(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let all = counting::ups(story.session);
    let fell = counting::fall(story.session)
        .and_then(|(before, rest)| Some((before.held.fcnt, *rest.first()?)))
        .filter(|(before, after)| counting::at_the_end(*before, after.held.fcnt));
    let recorded = || {
        let last = case.record()?.last_fcnt_up?;
        let first = *all.first()?;
        let claimed = matches!(story.session.origin, Origin::Claim(_));
        let fcnt = first.held.fcnt;
        (claimed && fcnt < last && counting::at_the_end(last, fcnt)).then_some((last, first))
    };
    let (before, after) = fell.or_else(recorded)?;
    let frames = all.iter().filter(|seen| seen.data.line() >= after.data.line()).count();
    let (fcnt, expected) = (after.held.fcnt, counted_on(before, after.held.fcnt));
    let finding = Finding::new(
        Certainty::Certain,
        fact!(
            "after {before} the node counts from {fcnt} in 16 bits, where the MIC expects {expected}: \
             it lost the upper half of its counter at the rollover",
            before,
            fcnt,
            expected
        ),
        "let the node count in 32 bits (the frame carries the low 16); until then let it join again \
         before the rollover",
    )
    .and(fact!(
        "{uplink}: the MIC holds with {fcnt}, not with {expected}",
        uplink = Cite::from(after).with_time(),
        fcnt,
        expected
    ));
    Some(finding.matched_by_chance(2.0, frames))
}

/// The server forgets the upper half of its own counter.
fn server_forgets(story: &Story<'_>) -> Option<Finding> {
    let backs = counting::downs_back(story);
    let back = backs.iter().find(|back| counting::at_the_end(back.before.1, back.fcnt))?;
    let (before, fcnt) = (back.before.1, back.fcnt);
    let expected = counted_on(before, fcnt);
    let finding = Finding::new(
        Certainty::Certain,
        fact!(
            "after FCntDown {before} the server counts from {fcnt} in 16 bits, where the MIC expects \
             {expected}: the node drops every downlink from the rollover on",
            before,
            fcnt,
            expected
        ),
        "let the server count downlinks in 32 bits (the frame carries the low 16)",
    )
    .and(fact!(
        "{downlink}: FCntDown {before}",
        downlink = story.cite(back.before.0),
        before
    ))
    .and(fact!(
        "{downlink}: the MIC holds with {fcnt}, not with {expected}",
        downlink = story.cite(back.down),
        fcnt,
        expected
    ));
    Some(finding.matched_by_chance(2.0, 1))
}

const PAGE: &str = r#"# counter-upper-half-lost-at-rollover
After 65 535 the frames verify with the full 32-bit counter only, and one
side has lost the upper half.

## What is seen
At the server: wrong MIC or old counter, from one frame to the next, after
months of good work. At the gateway: FCnt 65534, 65535, 0, 1. At the node:
no answers any more.

## Why it happens
The frame carries the low 16 bits of FCnt; the MIC and the encryption use
all 32. At the rollover the receiver must add 65 536 by itself. A server set
to 16-bit counters, or a node that counts in 16 bits, uses the upper half 0
while the other uses 1.

## How to be sure
After the fall of the field from near 65 535 compute the MIC with u = last
and u = last + 1. Holds with u + 1: the node counts 32 bits, and the side
that refuses does not. Holds with u = 0 and last u = 0: the node lost the
upper half, or restarted. To part these two: a rollover passes through
65 535, a restart falls from anywhere.

"Key wrong" is refuted by the frames before. "Replay" is what a 16-bit
server says. A node that rejoins at the rollover has a new DevAddr. If the
MIC holds with u = 0 and frames are missing around the fall, both readings
stand, and the node's log decides.

## What to do
1. Set the server's record to 32-bit counters.
2. If the node counts 16 bits, update it, or let it rejoin before 65 535.
3. Clear the counter once, if the server has locked itself.
4. Find the other nodes of this kind: the date of their rollover can be
   computed.

## Example
DevAddr 020C2107, invented keys. The field reads 2 after 65535, 0, 1:

    40 07210C02 00 0200 02 8FD3B0E8, MIC 351F5BF5

With FCnt 65 538 the MIC is 351F5BF5; with FCnt 2 it would be 45124406. The
node counts right; the record says 16 bits.

## Source
LoRaWAN 1.0.4, p. 22-25; 1.0.3, p. 19 and 21.
"#;
