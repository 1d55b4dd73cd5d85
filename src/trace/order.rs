//! Events put in the order of time, as far as a bounded memory allows.

use std::collections::BTreeMap;

use jiff::Timestamp;

use super::clocks::{self, ClockApart};
use crate::intake::Event;

/// Events that wait for earlier ones.
///
/// A capture of no more than these is put in order as a whole; in a longer one an event may come so
/// many places late. A datagram with a frame is two.
const WAITING: usize = 32_768;

/// Holds events back until earlier ones can no longer come.
#[derive(Clone, Debug, Default)]
pub(super) struct InOrder {
    waiting: BTreeMap<(Option<Timestamp>, u64), Event>,
    /// Its own time, or else that of the one before.
    last: Option<Timestamp>,
    pushed: u64,
    /// Once so much waits that some must go, clocks are compared, and never again.
    compared: bool,
    clocks: BTreeMap<u16, ClockApart>,
}

impl InOrder {
    /// Takes an event; gives back the earliest where too many wait.
    pub(super) fn push(&mut self, mut event: Event) -> Option<Event> {
        self.set_right(&mut event);
        self.last = event.time.or(self.last);
        self.waiting.insert((self.last, self.pushed), event);
        self.pushed += 1;
        if self.waiting.len() > WAITING { self.pop() } else { None }
    }

    /// Gives back the earliest.
    pub(super) fn pop(&mut self) -> Option<Event> {
        if !self.compared {
            self.compare();
        }
        self.waiting.pop_first().map(|(_, event)| event)
    }

    /// Returns the captures whose clocks were set right.
    pub(super) fn clocks(&self) -> impl Iterator<Item = ClockApart> {
        self.clocks.values().copied()
    }

    fn compare(&mut self) {
        self.compared = true;
        self.clocks = clocks::apart(self.waiting.values());
        if self.clocks.is_empty() {
            return;
        }
        for ((at, order), mut event) in std::mem::take(&mut self.waiting) {
            self.set_right(&mut event);
            // What has no time of its own goes with its capture.
            let source = event.place.source;
            let at = event.time.or_else(|| self.right(source, at?)).or(at);
            self.waiting.insert((at, order), event);
        }
    }

    fn right(&self, source: u16, at: Timestamp) -> Option<Timestamp> {
        let apart = self.clocks.get(&source)?;
        at.checked_sub(apart.ahead).ok()
    }

    fn set_right(&self, event: &mut Event) {
        if let Some(at) = event.time {
            event.time = self.right(event.place.source, at).or(Some(at));
        }
    }
}
