//! The kinds of exercise: one table.

use super::{Level, Made, Order, budget, frames, keys, nonce, why, windows};
use crate::scenario::Dice;

/// A kind of exercise.
pub(super) struct ExerciseKind {
    /// Its name, for scripts.
    pub(super) id: &'static str,
    /// Its title, for people.
    pub(super) title: &'static str,
    level: Level,
    /// Makes one, unless the dice fell so that there is nothing to ask.
    pub(super) make: fn(&mut Dice) -> Option<Made>,
}

macro_rules! kinds {
    ($($level:ident $id:literal $title:literal $make:expr;)*) => {
        const KINDS: &[ExerciseKind] =
            &[$(ExerciseKind { id: $id, title: $title, level: Level::$level, make: $make },)*];
    };
}

kinds! {
    Fields "data-header" "Read the header of a data frame" frames::header;
    Fields "join-request" "Read a Join-Request" frames::join_request;
    Fields "message-type" "What MHDR says" frames::message_type;
    Fields "frame-control" "What FCtrl says" frames::frame_control;
    Fields "wire-order" "Write it in the order sent" frames::wire_order;
    Rules "join-windows" "Where the Join-Accept goes" windows::join;
    Rules "data-windows" "Where a downlink goes" windows::data;
    Rules "fresh-nonce" "Is this DevNonce fresh?" nonce::fresh;
    Rules "time-on-air" "Time on air and duty cycle" budget::time_on_air;
    Rules "link-margin" "Above the floor, or below?" budget::link_margin_of;
    Rules "network" "Whose address is this?" frames::network;
    Rules "mac-commands" "Which MAC commands are these?" frames::mac_commands;
    Keys "which-key" "Which key checks this?" keys::which;
    Keys "join-accept" "Open a Join-Accept" keys::accept;
    Keys "session" "The keys of a session" keys::session;
    Keys "whole-counter" "The counter behind FCnt" keys::counter;
    Keys "why" "Why did this join fail?" why::why;
    Keys "why-again" "Why did this join fail?" why::why;
}

/// Returns the kinds of a level, shuffled, again and again: none comes a second time before all
/// others came.
pub(super) fn in_turn(order: Order) -> impl Iterator<Item = &'static ExerciseKind> {
    let mut dice = Dice::of(order.seed, "order");
    let mut rest: Vec<&ExerciseKind> =
        KINDS.iter().filter(|kind| kind.level == order.level).collect();
    let mut turn = Vec::new();
    while !rest.is_empty() {
        let place = dice.below(u32::try_from(rest.len()).unwrap_or(1));
        turn.push(rest.remove(place as usize));
    }
    turn.into_iter().cycle()
}
