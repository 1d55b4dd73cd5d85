//! Cause `downlink-counter-went-back`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, fact},
    ladder::{
        finding::Finding,
        session::{self, Case, Story, counting},
    },
    roster::Activation,
    trace::{Data, Origin},
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::DownlinkCounterWentBack,
    what: "a downlink has a counter that the node took before",
    places: &[Place::Session(session::Rung::Fresh)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

fn check(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let (before, down, fcnt, whose) = below_the_nodes(case, story).or_else(|| within(story))?;
    let mut finding = Finding::new(
        Certainty::Certain,
        fact!(
            "the downlink has FCntDown {fcnt}, not above {before}, {whose}: the node drops it as a \
             repeat",
            fcnt,
            before,
            whose
        ),
        "carry the downlink counter over when a session moves between servers, or let the node join \
         again",
    );
    finding.add(fact!(
        "{downlink}: its MIC holds with {fcnt}, so keys and address are right",
        downlink = story.cite(down),
        fcnt
    ));
    if let Some(next) = case.record().and_then(|record| record.next_fcnt_down) {
        finding.add(fact!("the record's next-fcnt-down is {next}", next));
    }
    Some(finding.matched_by_chance(1.0, 1))
}

/// Below what the node took last, as its firmware states it.
fn below_the_nodes(case: &Case<'_>, story: &Story<'_>) -> Option<(u32, usize, u32, &'static str)> {
    let kept = case.firmware()?.last_fcnt_down?;
    let claimed = matches!(story.session.origin, Origin::Claim(_))
        || case.record().and_then(|record| record.activation) == Some(Activation::Abp);
    let no_uplinks = story.turns().is_empty();
    if !claimed && !no_uplinks {
        return None;
    }
    // A downlink that goes on after the rollover is below in its low half alone.
    let mut downs = story.session.frames.iter().enumerate();
    let (down, seen) = downs.find(|(_, seen)| {
        matches!(seen.data, Data::Down { .. })
            && seen.held.fcnt <= kept
            && !counting::at_the_end(kept, seen.held.fcnt)
    })?;
    Some((kept, down, seen.held.fcnt, "the node's last"))
}

/// Below an earlier downlink of the same counter.
fn within(story: &Story<'_>) -> Option<(u32, usize, u32, &'static str)> {
    let fell = counting::downs_back(story).into_iter().find(|back| {
        back.fcnt < back.before.1 && !counting::at_the_end(back.before.1, back.fcnt)
    })?;
    Some((fell.before.1, fell.down, fell.fcnt, "an earlier downlink's"))
}

const PAGE: &str = r#"# downlink-counter-went-back
The server sends downlinks with an FCnt that the node has already passed, so
the node drops them.

## What is seen
At the server: downlinks sent, confirmed ones without ACK, MAC commands
without answer. At the gateway: all in order. At the node: frames arrive and
are dropped; uplinks go on as if nothing were wrong.

## Why it happens
FCntDown was lost on the server: a restore from a backup, a move to another
server with the session, two servers sending for one node, or a counter kept
in two places. In 1.1 there are two, NFCntDown for FPort 0 and frames
without FPort, AFCntDown for the others; mixing them up has the same effect.

## How to be sure
The downlink's MIC holds with its FCnt, and this is not above the last one
the node took. The last one is known from the node's claim or log, or from
the highest downlink that the node answered (an ACK, an answer to a
command). Holding MICs show that the key is right. In versions up to 1.0.3 a
jump of more than 16 384 forward is refused, too.

"Window missed" is the usual wrong verdict; it fits single losses. A
downlink with equal bytes and counter is a repeat. If the node's last value
is only guessed from what was sent, say likely: a sent downlink need not
have been taken. Uplink counters are another matter.

## What to do
1. Set the server's next FCntDown above the node's last, or
2. let the node join again: all counters start again.
3. In a move pass on FCntUp and FCntDown with the keys, and stop the old
   server first.
4. Never reuse a counter: it repeats the key stream.

## Example
Probe-17 answered a downlink with FCnt 131 on Friday. Since the restore the
server sends 4, 5, 6; the MICs hold, no ACK comes. 131 + 1 - 4 = 128
downlinks would be lost before it recovers by itself.

## Source
LoRaWAN 1.0.3, p. 19; 1.0.4, p. 22-23; 1.1, 4.3.1.5.
"#;
