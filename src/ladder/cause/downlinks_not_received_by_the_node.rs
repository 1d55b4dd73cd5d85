//! Cause `downlinks-not-received-by-the-node`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        session::{self, Case, Shown, Story, counting, leaps, losses, signed},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::DownlinksNotReceivedByTheNode,
    what: "good downlinks that ask for an answer get none",
    places: &[Place::Session(session::Rung::Received)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

/// So many decide.
const DECIDE: usize = 3;

/// Odds beyond which losses may be an accident.
const BY_CHANCE: f64 = 0.000_5;
/// The same, of a node that received downlinks of the session before.
const BY_CHANCE_SINCE: f64 = 0.000_01;

fn check(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let missed = missed(story);
    let received = story.shown.iter().any(|shown| shown.is_received());
    let limit = if received { BY_CHANCE_SINCE } else { BY_CHANCE };
    let by_chance = losses::odds(story, missed.len()) > limit;
    if missed.len() < DECIDE || by_chance || !story.faults.is_empty() {
        return None;
    }
    // What a node rightly drops it does not receive.
    let dropped = !counting::downs_back(story).is_empty()
        || leaps::down(story).is_some()
        || !signed::wrong_conf(case, story).is_empty();
    if dropped {
        return None;
    }
    // While an answer about the windows is open, the two sides may hold different ones.
    let windows = ["RXParamSetupReq", "RXTimingSetupReq", "DlChannelReq", "TXParamSetupReq"];
    let is_open = windows.iter().any(|name| {
        let mut all = story.settings.exchanges.iter().rev();
        all.find(|exchange| exchange.name() == *name).is_some_and(|last| last.taken().is_none())
    });
    let mut finding = Finding::new(
        if is_open { Certainty::Possible } else { Certainty::Likely },
        fact!(
            "{downlinks} in the windows in force, taken by the gateway, and the node shows that it got \
             none of them",
            downlinks = Value::Count(missed.len() as u64, "downlink")
        ),
        "check the node's receiver: clock, window log, antenna, and the key under which it checks \
         downlinks",
    );
    for (down, at) in missed.iter().take(4) {
        finding.add(fact!(
            "{downlink}: {kind}; {uplink}: no sign of it",
            downlink = story.cite(*down),
            kind = story.frame(*down).map_or("", |frame| frame.mhdr.ftype().title()),
            uplink = story.cite(*at)
        ));
    }
    let last = story.turns().len().saturating_sub(1);
    if let Some(margin) = losses::median(&losses::margins(story, 0, last)) {
        finding.add(fact!(
            "uplinks arrive {margin} above the demodulation floor; the way down may be worse, if the \
             gateway sends with less power than the node, or the node hears noise",
            margin = Value::Db(margin.into())
        ));
    }
    Some(finding)
}

/// The downlinks at the end of the session that the node missed though all was right with them, with the
/// uplink that shows it.
fn missed(story: &Story<'_>) -> Vec<(usize, usize)> {
    let mut out = Vec::new();
    for turn in story.turns() {
        for down in story.downs_of(turn) {
            match story.shown.get(down).copied().unwrap_or_default() {
                Shown::Received(_) => out.clear(),
                Shown::Missed(at) => {
                    let right =
                        story.aims.iter().any(|aim| aim.down == down && aim.is_surely_right());
                    if right {
                        out.push((down, at));
                    }
                }
                Shown::Nothing => {}
            }
        }
    }
    out
}

const PAGE: &str = r"# downlinks-not-received-by-the-node
Downlinks go out rightly, and the node gives no sign that it got them.

## What is seen
At the server: confirmed downlinks repeated, commands repeated. At the
gateway: taken and sent. At the node: its uplinks arrive, without ACK and
without answers.

## Why it happens
The node opens its windows late or too short (a clock that is off by more
than the window allows), on a receiver that is not ready; its antenna or
receive path is damaged; it checks the MIC with another key or counter; the
gateway sends with little power, or the node is in noise.

## How to be sure
Delay, frequency, data rate, polarity, dwell time and size are those in
force; the counter rises; the MIC holds; the gateway took the frame. Three
such downlinks that ask for an answer (confirmed, an ACK that ends repeats,
RekeyConf), and no answer: likely. A capture at the gateway cannot look
into the node.

Unconfirmed downlinks need no answer and show nothing. With any downlink
outside the windows that is the cause.

## What to do
1. Read the node's log: when does it open RX1 and RX2, and what does it
   receive?
2. Put it next to another gateway, or raise the gateway's power.
3. Compare the session keys in the node with those of the server.

## Example
KR920. Six confirmed downlinks, in RX1 and RX2 in turn, all taken. Each next
uplink of probe-20 has ACK 0.

## Source
LoRaWAN 1.0.4, p. 12-13 (windows), p. 20 (ACK).
";
