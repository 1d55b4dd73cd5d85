//! What the uplinks ask for, and the downlinks that answer.

use super::super::{Case, Story, reach, strays};
use crate::{frame::MacVersion, trace::settings::Turn};

/// Something that an uplink asks for.
#[derive(Clone, Copy, Debug)]
pub(in crate::ladder) struct Ask {
    /// The turn that asks.
    pub(in crate::ladder) turn: usize,
    /// What it asks for.
    pub(in crate::ladder) kind: Asked,
    /// Place of the downlink that answers.
    pub(in crate::ladder) answered: Option<usize>,
}

/// What can be asked for.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(in crate::ladder) enum Asked {
    /// The ACK of a confirmed uplink.
    Ack,
    /// Any downlink: ADRACKReq.
    Downlink,
    /// The answer to a command.
    Command(&'static str, &'static str),
}

/// The node's requests, with their answers.
pub(in crate::ladder) const COMMANDS: [(&str, &str); 7] = [
    ("LinkCheckReq", "LinkCheckAns"),
    ("DeviceTimeReq", "DeviceTimeAns"),
    ("PingSlotInfoReq", "PingSlotInfoAns"),
    ("BeaconTimingReq", "BeaconTimingAns"),
    ("RekeyInd", "RekeyConf"),
    ("ResetInd", "ResetConf"),
    ("DeviceModeInd", "DeviceModeConf"),
];

/// Returns all that the uplinks of a session ask for.
pub(in crate::ladder) fn all(story: &Story<'_>) -> Vec<Ask> {
    let mut out = Vec::new();
    for turn in 0..story.turns().len() {
        if let Some(frame) = story.uplink(turn) {
            if frame.mhdr.ftype().is_confirmed() {
                out.push(ask(story, turn, Asked::Ack));
            }
            if frame.fctrl.adr_ack_req() {
                out.push(ask(story, turn, Asked::Downlink));
            }
        }
        for (request, answer) in COMMANDS {
            if says(story, turn, request) {
                out.push(ask(story, turn, Asked::Command(request, answer)));
            }
        }
    }
    out
}

/// Whether the uplink of a turn says a command.
pub(in crate::ladder) fn says(story: &Story<'_>, turn: usize, name: &str) -> bool {
    let place = story.turns().get(turn).map(Turn::first).filter(|place| !is_dropped(story, *place));
    place.and_then(|place| story.settings.said.get(place)).is_some_and(|said| said.says(name))
}

/// Whether a server drops a frame for what it is: one with commands in two places, up to 1.0.3.
fn is_dropped(story: &Story<'_>, place: usize) -> bool {
    let twice =
        story.frame(place).is_some_and(|frame| frame.port() == Some(0) && !frame.fopts.is_empty());
    twice && story.version() != Some(MacVersion::V1_0_4)
}

/// Returns what a turn asks, with the downlink that answers: after that uplink, or after the next one.
fn ask(story: &Story<'_>, turn: usize, kind: Asked) -> Ask {
    let answers = |place: &usize| {
        let Some(frame) = story.frame(*place) else { return false };
        match kind {
            Asked::Ack => frame.fctrl.ack(),
            Asked::Downlink => true,
            Asked::Command(_, answer) => {
                story.settings.said.get(*place).is_some_and(|said| said.says(answer))
            }
        }
    };
    // An ACK is for the uplink before it alone.
    let last = if kind == Asked::Ack { turn } else { turn + 1 };
    let turns = story.turns().get(turn..=last.min(story.turns().len().saturating_sub(1)));
    let downs = turns.unwrap_or_default().iter().flat_map(|turn| turn.downs.iter().copied());
    Ask { turn, kind, answered: downs.into_iter().find(answers) }
}

/// Returns the turns at the end of a session that ask for one thing in vain: all since it was last
/// answered, and no other. The capture goes on long enough after each of them. None where downlinks went
/// elsewhere meanwhile.
pub(in crate::ladder) fn in_vain(case: &Case<'_>, story: &Story<'_>, kind: Asked) -> Vec<usize> {
    let all = all(story);
    let own = all.iter().rev().filter(|ask| ask.kind == kind);
    let run = own.take_while(|ask| ask.answered.is_none()).map(|ask| ask.turn);
    let due = |turn: &usize| reach::is_due(case, story, *turn);
    let mut out: Vec<usize> = run.filter(due).collect();
    out.reverse();
    let first = out.first().and_then(|turn| story.turns().get(*turn)).map(Turn::first);
    match first.and_then(|place| story.seen(place)) {
        Some(first) if strays::went_astray(case, story, first.data.line()) => Vec::new(),
        _ => out,
    }
}

/// Returns how many downlinks were sent after the uplinks of some turns.
pub(in crate::ladder) fn downs_in(story: &Story<'_>, turns: &[usize]) -> usize {
    turns.iter().filter_map(|turn| story.turns().get(*turn)).map(|turn| turn.downs.len()).sum()
}
