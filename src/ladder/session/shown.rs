//! Whether the node showed that it got a downlink, or that it missed it.

use super::course::Course;
use crate::{
    crypto::derive::SessionKeys,
    frame::command::Repeats,
    trace::settings::{Answered, Turn},
};

/// What the node shows of one frame.
#[derive(Clone, Copy, Debug, Default, Eq, PartialEq)]
pub(in crate::ladder) enum Shown {
    /// Nothing: it did not have to.
    #[default]
    Nothing,
    /// It got it, as the uplink of this place shows.
    Received(usize),
    /// It missed it, as the uplink of this place shows.
    Missed(usize),
}

impl Shown {
    pub(in crate::ladder) const fn is_received(self) -> bool {
        matches!(self, Self::Received(_))
    }

    pub(in crate::ladder) const fn is_missed(self) -> bool {
        matches!(self, Self::Missed(_))
    }
}

/// Commands that a node repeats until the network confirms them, with the confirmation.
const REPEATED: [(&str, &str); 3] =
    [("RekeyInd", "RekeyConf"), ("ResetInd", "ResetConf"), ("DeviceModeInd", "DeviceModeConf")];

/// Returns what the node shows of each frame of a session.
pub(super) fn of(story: &Course<'_>) -> Vec<Shown> {
    let mut shown = vec![Shown::Nothing; story.session.frames.len()];
    for (number, turn) in story.turns().iter().enumerate() {
        for (place, what) in turn_shows(story, number, turn) {
            if let Some(slot) = shown.get_mut(place) {
                // That something was received is shown once; that it was missed may be a repeat that
                // was on its way already.
                if !slot.is_received() {
                    *slot = what;
                }
            }
        }
    }
    for exchange in &story.settings.exchanges {
        if let Some(answered) = exchange.answer().filter(|answered| !answered.late)
            && !may_be_a_repeat(story, answered)
            && let Some(slot) = shown.get_mut(exchange.asked)
        {
            *slot = Shown::Received(answered.at);
        }
    }
    shown
}

/// Whether the uplink before carried the same answer, of a kind that a node repeats until it hears
/// something: then it need not have heard the request again.
fn may_be_a_repeat(story: &Course<'_>, answered: &Answered) -> bool {
    let before = answered.turn.checked_sub(1).and_then(|turn| story.turns().get(turn));
    let Some(said) = before.and_then(|turn| story.settings.said.get(turn.first())) else {
        return false;
    };
    answered.commands.iter().all(|answer| {
        let sticky = match answer.row.repeats {
            Repeats::UntilDownlink(versions) => {
                story.version().is_none_or(|version| versions.contains(&version))
            }
            Repeats::Never | Repeats::UntilConfirmed => false,
        };
        sticky && said.commands.contains(answer)
    })
}

fn turn_shows(story: &Course<'_>, number: usize, turn: &Turn) -> Vec<(usize, Shown)> {
    let mut out = Vec::new();
    let downs = story.downs_of(turn);
    repeats(story, turn, &downs, &mut out);
    let Some(next) = story.turns().get(number + 1) else { return out };
    let at = next.first();
    let (Some(asked), Some(answers)) = (story.uplink(number), story.frame(at)) else { return out };
    acknowledged(story, &downs, at, next.follows(), &mut out);
    // What follows counts only where no uplink is missing between.
    if !next.follows() {
        return out;
    }
    let said = |place: usize| story.settings.said.get(place);
    let says = |place: usize, name: &str| said(place).is_some_and(|said| said.says(name));
    if asked.fctrl.adr_ack_req() && answers.fctrl.adr() {
        if answers.fctrl.adr_ack_req() {
            out.extend(downs.iter().map(|place| (*place, Shown::Missed(at))));
        } else if let [one] = downs.as_slice() {
            out.push((*one, Shown::Received(at)));
        }
    }
    for (indication, confirmation) in REPEATED {
        if !says(turn.first(), indication) {
            continue;
        }
        for place in downs.iter().copied().filter(|place| says(*place, confirmation)) {
            let repeated = says(at, indication);
            out.push((place, if repeated { Shown::Missed(at) } else { Shown::Received(at) }));
        }
    }
    // An answer that is repeated although a downlink came after the first.
    let carries = |exchange: &crate::trace::settings::Exchange, turn: usize| {
        exchange.answer().is_some_and(|answered| answered.turn == turn)
            || exchange.repeats.contains(&turn)
    };
    let sticks = |exchange: &crate::trace::settings::Exchange| {
        carries(exchange, number) && exchange.repeats.contains(&(number + 1))
    };
    if story.settings.exchanges.iter().any(sticks) {
        out.extend(downs.iter().map(|place| (*place, Shown::Missed(at))));
    }
    out
}

/// A confirmed uplink that is sent again after a downlink with ACK.
fn repeats(story: &Course<'_>, turn: &Turn, downs: &[usize], out: &mut Vec<(usize, Shown)>) {
    let confirmed = story.frame(turn.first()).is_some_and(|f| f.mhdr.ftype().is_confirmed());
    if !confirmed {
        return;
    }
    let line = |place: usize| story.seen(place).map(|seen| seen.data.line());
    for place in downs.iter().copied() {
        let acks = story.frame(place).is_some_and(|frame| frame.fctrl.ack());
        let again = turn.sent.iter().copied().find(|copy| line(*copy) > line(place));
        if let (true, Some(again)) = (acks, again) {
            out.push((place, Shown::Missed(again)));
        }
    }
}

/// The ACK bit of the next uplink: for the last confirmed downlink that the node got.
fn acknowledged(
    story: &Course<'_>,
    downs: &[usize],
    at: usize,
    follows: bool,
    out: &mut Vec<(usize, Shown)>,
) {
    let confirmed: Vec<usize> = downs
        .iter()
        .copied()
        .filter(|place| story.frame(*place).is_some_and(|f| f.mhdr.ftype().is_confirmed()))
        .collect();
    let Some(seen) = story.seen(at) else { return };
    let acks = seen.data.frame().fctrl.ack();
    // In 1.1 the MIC says which one is meant.
    let of_1_1 = story
        .session
        .candidate_of(seen)
        .is_some_and(|candidate| matches!(candidate.keys, SessionKeys::V1_1 { .. }));
    let meant = seen.held.context.filter(|_| of_1_1 && acks).map(|context| context.conf_fcnt);
    match (acks, confirmed.as_slice(), meant) {
        (true, all, Some(fcnt)) => {
            let own = |place: &&usize| story.frame(**place).is_some_and(|f| f.fcnt == fcnt);
            out.extend(all.iter().filter(own).map(|place| (*place, Shown::Received(at))));
        }
        (true, [one], None) => out.push((*one, Shown::Received(at))),
        (false, all, _) if follows => {
            out.extend(all.iter().map(|place| (*place, Shown::Missed(at))));
        }
        _ => {}
    }
}
