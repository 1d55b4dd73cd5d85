//! The settings in force in a session: what its accept gave, and what MAC commands changed since.
//!
//! A data downlink is right or wrong only against the settings that hold at that moment. They start
//! at the plan's defaults; the Join-Accept changes them, and each MAC request that the node took
//! changes them again. [`Settings::replay`] plays all of it through, in the order of the capture:
//!
//! | file | what it owns |
//! |------|--------------|
//! | `turns` | each new uplink with its transmissions, and the downlinks after it |
//! | `said` | the MAC commands of each frame, decrypted |
//! | `exchange` | requests paired with their answers, and what became of each |
//! | `belief` | the values, who set them, and how sure they are |
//! | `apply` | what an accept or a request does to them |
//! | `windows` | where RX1 and RX2 are by them |
//!
//! The node applies a request before it sends the answer, so new values hold for the windows of the
//! first uplink after the request. What the capture cannot show (a request whose answer may be in a
//! frame that was lost, a hole in the capture) leaves a value in doubt: nobody is to be accused by it.

mod apply;
mod belief;
mod exchange;
mod said;
mod turns;
mod windows;

use super::{Line, Session};
use crate::{
    crypto::derive::SessionKeys,
    frame::{JoinAccept, MacVersion},
    region::Plan,
    roster::Class,
};

pub use belief::{Belief, By, Channel, Fit, Held};
pub use exchange::{Answered, Exchange, Fate};
pub use said::{Said, Unread};
pub use turns::Turn;
pub(crate) use turns::counter_of;
pub use windows::Expected;

/// What there is to know of a session before its first frame.
#[derive(Clone, Debug, Default)]
pub struct Start<'a> {
    /// The channel plan.
    pub plan: Option<&'static Plan>,
    /// The node's version, as its firmware or the record states it.
    pub version: Option<MacVersion>,
    /// The accept that began it; none for a session that a claim states.
    pub accept: Option<&'a JoinAccept>,
    /// The frequency of the request that it answers: in CN470 it picks RX2.
    pub asked_hz: Option<u32>,
    /// What was in force before, where the accept leaves the radio as it was (Rejoin-Request type 2).
    pub before: Option<&'a Belief>,
    /// The node's class as built into it.
    pub class: Option<Class>,
    /// The node's channel mask as built into it.
    pub mask: Option<&'a [u16]>,
    /// Downlinks of its address that no key on hand verifies: commands may be in them.
    pub unread: Vec<Line>,
}

/// A session's settings, replayed.
#[derive(Clone, Debug)]
pub struct Settings {
    /// The version by which commands were read; `None` where nobody states it.
    pub version: Option<MacVersion>,
    /// The channel plan.
    pub plan: Option<&'static Plan>,
    /// What each frame of the session says, by its place.
    pub said: Vec<Said>,
    /// Whether FOpts make sense only by the text of 1.1 before its erratum.
    pub published: bool,
    /// Downlinks before the first uplink.
    pub lead: Vec<usize>,
    /// The uplinks, each with the downlinks after it.
    pub turns: Vec<Turn>,
    /// The turn of each frame, by its place; `None` before the first uplink.
    pub turn_of: Vec<Option<usize>>,
    /// Requests of the network, in order.
    pub exchanges: Vec<Exchange>,
    /// Answers of the node to requests that are not in the capture: the turn, and the CID.
    pub strays: Vec<(usize, u8)>,
    /// Turns from which on commands may have been missed.
    pub holes: Vec<usize>,
    /// What holds from a turn on, where it changed.
    beliefs: Vec<(usize, Belief)>,
}

impl Settings {
    /// Replays a session.
    pub fn replay(session: &Session, start: &Start<'_>) -> Self {
        let version = version_of(session, start.version);
        let published = said::follows_the_published_text(session, version);
        let said = said::of(session, version, published);
        let (lead, turns) = turns::of(session);
        let mut turn_of = vec![None; session.frames.len()];
        for (number, turn) in turns.iter().enumerate() {
            for place in turn.sent.iter().chain(&turn.downs) {
                if let Some(slot) = turn_of.get_mut(*place) {
                    *slot = Some(number);
                }
            }
        }
        let (exchanges, strays) = exchange::pair(session, &turns, &said, start.plan, version);
        let holes = turns::holes(session, &turns, &start.unread);
        let mut settings = Self {
            version,
            plan: start.plan,
            said,
            published,
            lead,
            turns,
            turn_of,
            exchanges,
            strays,
            holes,
            beliefs: Vec::new(),
        };
        settings.beliefs = apply::through(&settings, start);
        settings
    }

    /// Returns what is in force for the windows of a turn's uplink.
    pub fn at(&self, turn: usize) -> &Belief {
        let after = self.beliefs.partition_point(|(from, _)| *from <= turn);
        // The first entry is the start of the session: it is of turn 0.
        let found = after.checked_sub(1).and_then(|place| self.beliefs.get(place));
        found.map_or(&belief::NOTHING, |(_, belief)| belief)
    }

    /// Returns what is in force in the end.
    pub fn last(&self) -> &Belief {
        self.at(usize::MAX)
    }

    /// Returns the exchanges asked after the uplink of a turn.
    pub fn asked_in(&self, turn: usize) -> impl Iterator<Item = (usize, &Exchange)> {
        let from = self.exchanges.partition_point(|exchange| exchange.turn < Some(turn));
        let all = self.exchanges.iter().enumerate().skip(from);
        all.take_while(move |(_, exchange)| exchange.turn == Some(turn))
    }

    /// Returns the last exchange before a turn that a test picks.
    pub fn last_before(
        &self,
        turn: usize,
        pick: impl Fn(&Exchange) -> bool,
    ) -> Option<(usize, &Exchange)> {
        let before = self.exchanges.partition_point(|exchange| exchange.turn < Some(turn));
        let all = self.exchanges.iter().enumerate().take(before);
        all.rev().find(|(_, exchange)| pick(exchange))
    }

    /// Returns whether the capture may lack commands at a turn or before it.
    pub fn has_hole_by(&self, turn: usize) -> bool {
        self.holes.first().is_some_and(|hole| *hole <= turn)
    }
}

/// The version whose commands a session has: 1.1 where its keys are, and else what the node states.
fn version_of(session: &Session, stated: Option<MacVersion>) -> Option<MacVersion> {
    let mut frames = session.frames.iter();
    let used = frames.find_map(|seen| session.candidate_of(seen)).or(session.candidates.first());
    match used.map(|candidate| &candidate.keys) {
        Some(SessionKeys::V1_1 { .. }) => Some(MacVersion::V1_1),
        // A 1.1 node that fell back follows some 1.0.x, and does not say which.
        Some(SessionKeys::V1_0 { .. }) => stated.filter(|version| *version < MacVersion::V1_1),
        None => stated,
    }
}
