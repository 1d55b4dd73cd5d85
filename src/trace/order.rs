//! Datagrams put in the order of time, as far as a bounded memory allows.

use std::collections::BTreeMap;

use jiff::Timestamp;

use super::clocks::{self, ClockApart};
use crate::intake::Datagram;

/// Datagrams that wait for earlier ones.
///
/// A capture of no more than these is put in order whole; in a longer one a datagram may come so
/// many places late.
const WAITING: usize = 16_384;

/// Holds datagrams back until earlier ones can no longer come.
#[derive(Clone, Debug, Default)]
pub(super) struct InOrder {
    waiting: BTreeMap<(Option<Timestamp>, u64), (u16, Box<Datagram>)>,
    /// Its own time, or else that of the one before.
    last: Option<Timestamp>,
    pushed: u64,
    /// Once so much waits that some must go, clocks are compared, and never again.
    compared: bool,
    clocks: BTreeMap<u16, ClockApart>,
}

impl InOrder {
    /// Takes a datagram; gives back the earliest where too many wait.
    pub(super) fn push(
        &mut self,
        source: u16,
        mut datagram: Datagram,
    ) -> Option<(u16, Box<Datagram>)> {
        self.set_right(source, &mut datagram);
        self.last = datagram.at.or(self.last);
        self.waiting.insert((self.last, self.pushed), (source, Box::new(datagram)));
        self.pushed += 1;
        if self.waiting.len() > WAITING { self.pop() } else { None }
    }

    /// Gives back the earliest.
    pub(super) fn pop(&mut self) -> Option<(u16, Box<Datagram>)> {
        if !self.compared {
            self.compare();
        }
        self.waiting.pop_first().map(|(_, datagram)| datagram)
    }

    /// Returns the captures whose clocks were set right.
    pub(super) fn clocks(&self) -> impl Iterator<Item = ClockApart> {
        self.clocks.values().copied()
    }

    fn compare(&mut self) {
        self.compared = true;
        self.clocks = clocks::apart(self.waiting.values().map(|(source, d)| (*source, &**d)));
        if self.clocks.is_empty() {
            return;
        }
        for ((at, place), (source, mut datagram)) in std::mem::take(&mut self.waiting) {
            self.set_right(source, &mut datagram);
            // What has no time of its own goes with its capture.
            let at = datagram.at.or_else(|| self.right(source, at?)).or(at);
            self.waiting.insert((at, place), (source, datagram));
        }
    }

    fn right(&self, source: u16, at: Timestamp) -> Option<Timestamp> {
        let apart = self.clocks.get(&source)?;
        at.checked_sub(apart.ahead).ok()
    }

    fn set_right(&self, source: u16, datagram: &mut Datagram) {
        if let Some(at) = datagram.at {
            datagram.at = self.right(source, at).or(Some(at));
        }
    }
}
