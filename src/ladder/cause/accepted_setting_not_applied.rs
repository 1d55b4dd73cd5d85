//! Cause `accepted-setting-not-applied`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Fact, Value, fact},
    frame::Direction,
    ladder::{
        finding::Finding,
        session::{self, Case, Story, losses},
    },
    trace::{
        Transmission,
        settings::{Exchange, Turn},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::AcceptedSettingNotApplied,
    what: "the node took a LinkADRReq, and its uplinks contradict it",
    places: &[Place::Session(session::Rung::Settled)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

/// So many uplinks in a row contradict a setting.
const DECIDE: usize = 3;
/// Copies may be lost where the margin is below this, dB.
const SOUND_MARGIN_DB: f32 = 5.0;

fn check(_: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let mut taken = story.settings.exchanges.iter().enumerate().rev().filter(|(_, exchange)| {
        exchange.name() == "LinkADRReq" && exchange.taken().is_some_and(|answered| !answered.late)
    });
    let (_, exchange) = taken.next()?;
    let from = exchange.taken()?.turn;
    rate(story, exchange, from)
        .or_else(|| copies(story, exchange, from))
        .or_else(|| mask(story, exchange, from))
}

/// Whether ADR back-off can explain what the node does: no downlink for so long (LoRaWAN 1.0.4, 4.3.1.1).
fn backs_off(story: &Story<'_>, from: usize, turn: usize) -> bool {
    let Some(last) = story.turns().get(turn) else { return true };
    let belief = story.at(turn);
    let limit = belief.adr_limit.value().copied().unwrap_or(64);
    let delay = belief.adr_delay.value().copied().unwrap_or(32);
    let heard = (from.saturating_sub(1)..turn)
        .rev()
        .find(|turn| story.turns().get(*turn).is_some_and(|turn| !turn.downs.is_empty()));
    let since = heard.and_then(|turn| story.turns().get(turn)).map_or(0, |turn| turn.fcnt);
    last.fcnt.saturating_sub(since) >= limit.saturating_add(delay)
}

fn told(story: &Story<'_>, exchange: &Exchange, summary: Fact, turns: &[usize]) -> Finding {
    let mut finding = Finding::new(
        Certainty::Likely,
        summary,
        "check the node's stack: what it answers with 07 it must do from that uplink on",
    )
    .and(session::words::request(story, exchange))
    .and(session::words::fate(story, exchange));
    for turn in turns.iter().take(3) {
        let heard = story.turns().get(*turn).and_then(|turn| story.heard(turn.first()));
        let Some(best) = heard.map(Transmission::best) else { continue };
        finding.add(fact!(
            "{uplink}: {frequency}, {data_rate}, sent {times}",
            uplink = story.cite_turn(*turn),
            frequency = best.freq_hz.map_or(Value::Text("".into()), Value::Frequency),
            data_rate = best.modulation.map_or(Value::Text("".into()), Value::Rate),
            times = Value::Count(
                story.turns().get(*turn).map_or(0, |turn| turn.sent.len()) as u64,
                "time"
            )
        ));
    }
    finding
}

/// The data rate, from the answer on, while ADR is on.
fn rate(story: &Story<'_>, exchange: &Exchange, from: usize) -> Option<Finding> {
    let plan = story.plan?;
    let wanted = *story.at(from).rate.sure()?;
    let modulation = plan.dr(Direction::Uplink, wanted)?;
    let turns: Vec<usize> = (from..story.turns().len()).collect();
    let own = |turn: &usize| {
        let rate = losses::rate(story, *turn);
        let adr = story.uplink(*turn).is_some_and(|frame| frame.fctrl.adr());
        adr && rate.is_some_and(|rate| rate != modulation) && !backs_off(story, from, *turn)
    };
    if turns.len() < DECIDE || !turns.iter().all(own) {
        return None;
    }
    let got = losses::rate(story, from)?;
    let summary = fact!(
        "the node answers that it takes DR{wanted} ({expected}), and goes on at {data_rate} in {uplinks}",
        wanted,
        expected = modulation,
        data_rate = got,
        uplinks = Value::Count(turns.len() as u64, "uplink")
    );
    Some(told(story, exchange, summary, &turns))
}

/// NbTrans: unconfirmed frames up to 1.0.3, all from 1.0.4 on.
fn copies(story: &Story<'_>, exchange: &Exchange, from: usize) -> Option<Finding> {
    let wanted = usize::from(*story.at(from).nb_trans.sure()?);
    // What was sent before the answer is no new frame of this setting.
    let turns: Vec<usize> = (from..story.turns().len().saturating_sub(1)).collect();
    let margin = losses::median(&losses::margins(story, from, story.turns().len() - 1))?;
    let once = |turn: &usize| {
        let confirmed = story.uplink(*turn).is_none_or(|frame| frame.mhdr.ftype().is_confirmed());
        let own = story.turns().get(*turn);
        // A downlink ends the copies.
        !confirmed && own.is_some_and(|turn| turn.sent.len() == 1 && turn.downs.is_empty())
    };
    if wanted < 2 || turns.len() < DECIDE + 1 || margin < SOUND_MARGIN_DB || !turns.iter().all(once)
    {
        return None;
    }
    let summary = fact!(
        "the node answers that it takes NbTrans {wanted}, and sends each of {uplinks} once, at a margin \
         of {margin}",
        wanted,
        uplinks = Value::Count(turns.len() as u64, "uplink"),
        margin = Value::Db(margin.into())
    );
    Some(told(story, exchange, summary, &turns))
}

/// The channel mask.
fn mask(story: &Story<'_>, exchange: &Exchange, from: usize) -> Option<Finding> {
    let plan = story.plan?;
    let turns: Vec<usize> = (from..story.turns().len()).collect();
    let outside = |turn: &usize| {
        let belief = story.at(*turn);
        let Some(mask) = belief.mask.sure() else { return false };
        let place = story.turns().get(*turn).map(Turn::first);
        let best = place.and_then(|place| story.heard(place)).map(Transmission::best);
        let Some(hz) = best.and_then(|best| best.freq_hz) else { return false };
        let channels: Vec<u16> = belief.channel_numbers(plan, hz);
        !channels.is_empty()
            && channels.iter().all(|channel| !mask.contains(*channel))
            && !backs_off(story, from, *turn)
    };
    let own: Vec<usize> = turns.iter().copied().filter(outside).collect();
    if own.len() < DECIDE || own.last() != turns.last() {
        return None;
    }
    let list = story.at(from).mask.sure()?.list();
    let summary = fact!(
        "the node answers that it takes the mask of channels {channels}, and {uplinks} are on others",
        channels = list,
        uplinks = Value::Count(own.len() as u64, "uplink")
    );
    Some(told(story, exchange, summary, &own))
}

const PAGE: &str = r"# accepted-setting-not-applied
The node says that it takes a LinkADRReq, and does not do as it says.

## What is seen
At the server: ADR is settled by its books; airtime, losses or channels are
not as expected. At the node: LinkADRAns 07.

## Why it happens
The answer is made before the settings are checked; the stack keeps its own
data rate, or an application sets it back before each frame; NbTrans is read
and not used.

## How to be sure
LinkADRAns with all bits 1. From the uplink with the answer on, data rate,
channel and number of copies are those of the request. Three uplinks and
more that contradict it, the answer among them: likely.

A node that got no downlink for ADR_ACK_LIMIT and ADR_ACK_DELAY uplinks
lowers its data rate by right, and opens channels at last. With ADR 0 the
data rate is its own. Up to 1.0.3 NbTrans is for unconfirmed frames. Copies
can be lost where the margin is thin, and a downlink ends them.

## What to do
1. Look whether the application sets the data rate.
2. Update the node's stack.

## Example
LinkADRReq DR5, answer 07 in a frame at SF12BW125. Six more frames of
probe-26, all at SF12BW125, ADR bit 1.

## Source
LoRaWAN 1.0.4, p. 31; 1.0.3, p. 25.
";
