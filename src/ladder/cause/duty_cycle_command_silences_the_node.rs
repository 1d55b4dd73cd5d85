//! Cause `duty-cycle-command-silences-the-node`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    frame::Direction,
    ladder::{
        finding::Finding,
        session::{self, Case, Story, words},
    },
    radio::time_on_air,
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::DutyCycleCommandSilencesTheNode,
    what: "DutyCycleReq makes the node wait long between frames",
    places: &[Place::Session(session::Rung::Heard)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

/// Gaps are far longer than before from this on.
const LONGER: i64 = 3;

fn check(_: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let taken = story
        .settings
        .exchanges
        .iter()
        .rev()
        .find(|exchange| exchange.name() == "DutyCycleReq" && exchange.taken().is_some())?;
    let from = taken.taken()?.turn;
    let exponent = taken.requests.first()?.number("MaxDCycle").filter(|n| *n > 0)?;
    let time = |turn: usize| story.turns().get(turn).and_then(|turn| story.time_us(turn.first()));
    let gaps = |turns: std::ops::Range<usize>| -> Vec<i64> {
        turns.filter_map(|turn| Some(time(turn + 1)? - time(turn)?)).collect()
    };
    let last = story.turns().len().checked_sub(1)?;
    let before = gaps(0..from.min(last));
    let after = gaps(from..last);
    let usual = before.iter().max().copied()?;
    let shortest = after.iter().min().copied()?;
    let heard = story.heard(story.turns().get(from)?.first())?;
    let air = time_on_air(heard.best().modulation?, heard.octets.len(), Direction::Uplink)?;
    let air_us = i64::try_from(air.as_micros()).ok()?;
    let silence = air_us.saturating_mul((1_i64 << exponent.clamp(0, 15)) - 1);
    // It keeps to it, and that is what is felt: the wait is longer than it used to be.
    let felt = silence > usual && shortest >= silence * 9 / 10 && shortest > usual * LONGER;
    if after.len() < 2 || !felt {
        return None;
    }
    Some(
        Finding::new(
            Certainty::Likely,
            fact!(
                "DutyCycleReq allows 1 / 2^{exponent} of the time: after a frame of {airtime} the node is \
                 silent for {silence}",
                exponent,
                airtime = Value::About(air_us),
                silence = Value::About(silence)
            ),
            "send DutyCycleReq with MaxDCycle 0 in the next window, if the law of the place allows it",
        )
        .and(words::request(story, taken))
        .and(words::fate(story, taken))
        .and(fact!(
            "before it at most {usual} from frame to frame, since then {shortest} at the least",
            usual = Value::About(usual),
            shortest = Value::About(shortest)
        )),
    )
}

const PAGE: &str = r"# duty-cycle-command-silences-the-node
The server limits the node's share of the air, and the node sends much less
than it should.

## What is seen
At the server: data comes rarely, from one moment on. At the node: frames
wait in its queue, or are dropped.

## Why it happens
DutyCycleReq with MaxDCycle n allows 1 / 2^n of the time. At 12 that is one
frame of 1.2 s in 80 minutes. The command is meant for crowded networks; a
wrong number silences a node.

## How to be sure
The node answered DutyCycleReq. From then on no gap is shorter than time on
air x (2^n - 1), and all are far longer than before: likely, since the
application may have slowed down by itself.

n = 0 sets no limit. Gaps that were there before are the node's own.

## What to do
1. Send DutyCycleReq 0 in the next window: the next uplink may be hours
   away.
2. Or reset the node: a new join sets MaxDCycle to 0.

## Example
DutyCycleReq 0C answered. Time on air 1.16 s, so 4750 s of silence. Before
it a frame came every 75 s, now every 80 minutes.

## Source
LoRaWAN 1.0.4, p. 27, p. 32.
";
