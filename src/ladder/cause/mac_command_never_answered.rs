//! Cause `mac-command-never-answered`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, fact},
    ladder::{
        finding::Finding,
        session::{self, Case, Story, losses, words},
    },
    trace::settings::{Exchange, Fate},
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::MacCommandNeverAnswered,
    what: "the same request is repeated, and the node never answers it",
    places: &[Place::Session(session::Rung::Settled)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

/// So many requests in vain decide.
const DECIDE: usize = 3;

/// Odds beyond which losses may be an accident.
const BY_CHANCE: f64 = 0.01;

fn check(_: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    // Downlinks that the node cannot hear are another fault.
    if !story.faults.is_empty() {
        return None;
    }
    let mut names: Vec<&'static str> = Vec::new();
    for exchange in &story.settings.exchanges {
        if !names.contains(&exchange.name()) {
            names.push(exchange.name());
        }
    }
    names.into_iter().find_map(|name| of(story, name))
}

fn of(story: &Story<'_>, name: &'static str) -> Option<Finding> {
    let all = story.settings.exchanges.iter().rev().filter(|exchange| exchange.name() == name);
    let mut own: Vec<&Exchange> = Vec::new();
    for exchange in all {
        match exchange.fate {
            Fate::Unanswered { .. } if own.first().is_none_or(|first| first.asks_as(exchange)) => {
                own.push(exchange);
            }
            // The answer may be in a frame that is missing, once.
            Fate::Open | Fate::NotSent => {}
            _ => break,
        }
    }
    own.reverse();
    let shown =
        |exchange: &&&Exchange| story.shown.get(exchange.asked).copied().unwrap_or_default();
    let received = own.iter().filter(|exchange| shown(exchange).is_received()).count();
    let missed = own.iter().filter(|exchange| shown(exchange).is_missed()).count();
    // What the node shows that it missed it could not answer.
    if own.len() < DECIDE || missed > 0 && received < DECIDE {
        return None;
    }
    // What goes to windows that may be others, or is lost as often as uplinks are, may not arrive.
    let arrives = |exchange: &&&Exchange| {
        let mut aims = story.aims.iter();
        shown(exchange).is_received()
            || aims.any(|aim| aim.down == exchange.asked && aim.is_surely_right())
    };
    let sent = own.iter().filter(arrives).count();
    if sent < DECIDE || received == 0 && losses::odds(story, sent) > BY_CHANCE {
        return None;
    }
    let certainty = if received >= DECIDE { Certainty::Certain } else { Certainty::Likely };
    let first = own.first()?;
    let mut finding = Finding::new(
        certainty,
        fact!(
            "{request} goes out {times} times, and no uplink answers it; of {received} of these downlinks \
             the node shows that it got them",
            request = name,
            times = own.len(),
            received
        ),
        "check the node's stack: it must answer each command of its version in the next uplink",
    )
    .and(words::request(story, first))
    .and(words::fate(story, first));
    for exchange in own.iter().skip(1).take(2) {
        finding.add(words::request(story, exchange));
        finding.add(words::fate(story, exchange));
    }
    Some(finding)
}

const PAGE: &str = r"# mac-command-never-answered
The server sends the same command again and again, and the node never
answers.

## What is seen
At the server: a command that stays pending; every uplink is followed by a
downlink. At the node: it sends data as if nothing had been asked.

## Why it happens
The node's stack does not implement the command, or answers it only in
frames of another kind; FOpts and FPort 0 are read in one place only; or the
downlinks do not arrive at all.

## How to be sure
The command exists in this version and region, so an answer is due in the
next uplink. It was sent three times and more, the uplinks follow without a
gap of FCnt, and none has the answer. If the node acknowledges these
downlinks, it received them: certain. If nothing shows that, likely.

The last request of a capture is open. A gap of FCnt can hide an answer
once. Commands that the region or version does not have get no answer:
command-unknown-to-the-node.

## What to do
1. Test the command with the node on a desk.
2. Update the node's stack.
3. Let the server give up after some tries.

## Example
LinkADRReq in six confirmed downlinks. Each next uplink of probe-25 has
ACK 1 and no LinkADRAns.

## Source
LoRaWAN 1.0.4, p. 26-28; 1.1, chapter 5.
";
