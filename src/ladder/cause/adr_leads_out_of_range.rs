//! Cause `adr-leads-out-of-range`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        session::{self, Case, Story, adr, away, losses, reach, words},
    },
    trace::settings::Turn,
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::AdrLeadsOutOfRange,
    what: "a LinkADRReq takes away the margin, and losses follow",
    places: &[Place::Session(session::Rung::Heard)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

/// Counters over which losses are counted at the least.
const FEWEST: u32 = 6;
/// Uplinks at the end that show whether it is over.
const LAST: usize = 5;

fn check(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let step = adr::step(story)?;
    let last = story.turns().len().checked_sub(1)?;
    let before = losses::between(story, 0, step.turn);
    let after = losses::between(story, step.turn, last);
    // Losses that were there before have another reason.
    if before.missing() * 4 > before.sent {
        return None;
    }
    let lossy = after.sent > FEWEST && after.missing() * 3 > after.sent;
    let silent = last == step.turn && goes_silent(case, story, step.turn);
    if !lossy && !silent {
        return None;
    }
    // A node that fell back by itself, and is heard again, is no longer out of range.
    let end = losses::between(story, last.saturating_sub(LAST), last);
    if lossy && end.missing() == 0 && last > step.turn + LAST {
        return None;
    }
    let (old, new) = step.rates;
    let mut finding = Finding::new(
        Certainty::Likely,
        fact!(
            "LinkADRReq takes the node from {before_rate} to {data_rate}, which leaves {margin} of margin: \
             {missing} of {sent} uplinks are lost from there on",
            before_rate = old,
            data_rate = new,
            margin = Value::Db(step.after.into()),
            missing = after.missing(),
            sent = after.sent
        ),
        "set a larger margin for ADR on the server, and let it take more uplinks before it goes a step up",
    )
    .and(fact!(
        "before it: {came} of {sent} uplinks arrive, half of them {margin} or more above the floor of \
         {data_rate}",
        came = before.came,
        sent = before.sent,
        margin = Value::Db(step.before.into()),
        data_rate = old
    ))
    .and(words::request(story, step.exchange))
    .and(words::fate(story, step.exchange));
    let asks = (step.turn..story.turns().len())
        .find(|turn| story.uplink(*turn).is_some_and(|frame| frame.fctrl.adr_ack_req()));
    if let Some(turn) = asks {
        finding.add(fact!(
            "{uplink}: ADRACKReq, the node hears nothing any more",
            uplink = story.cite_turn(turn)
        ));
    }
    Some(finding)
}

/// Whether nothing came since, for much longer than between uplinks before.
fn goes_silent(case: &Case<'_>, story: &Story<'_>, turn: usize) -> bool {
    let Some(place) = story.turns().get(turn).map(Turn::first) else { return false };
    let interval = away::interval_us(story);
    let silence = reach::goes_on_us(case, story, place);
    story.ends.is_none() && interval.is_some_and(|interval| silence > interval.saturating_mul(4))
}

const PAGE: &str = r"# adr-leads-out-of-range
ADR sets a data rate and a power with which the node no longer reaches the
gateway.

## What is seen
At the server: good reception, then LinkADRReq, then gaps in FCnt or
silence. At the node: LinkADRAns 07, later ADRACKReq. After
64 + n x 32 uplinks it comes back by itself, and the game begins again.

## Why it happens
The server takes the best SNR of a few frames, subtracts too little for
fading, and goes several steps in one go. A node that moved, or whose best
frames came over a second gateway that is gone, loses its link.

## How to be sure
Margin before = SNR - floor of the old data rate, the middle of the last ten
uplinks. Margin after = that, less the difference of the floors (2.5 dB for
each step of the spreading factor), less 2 dB for each step of TXPower. It
is near 0 or below, and the losses begin with that request: likely.

Losses that were there before have another reason. A node that fell back and
is heard again is well.

## What to do
1. Set a larger ADR margin on the server (10 dB and more).
2. Take 20 uplinks before each step.
3. Switch ADR off for nodes that move.

## Example
probe-29 at SF10BW125, SNR -6 dB: 9 dB of margin. LinkADRReq DR5, TXPower 1.
At SF7BW125 1.5 dB are left, less 2 dB of power. Of 85 uplinks 17 arrive.

## Source
LoRaWAN 1.0.4, p. 31; demodulation floors: data sheets of LoRa receivers.
";
