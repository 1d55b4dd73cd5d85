//! Datagrams put in the order of time, as far as a bounded memory allows.

use std::collections::BTreeMap;

use jiff::Timestamp;

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
}

impl InOrder {
    /// Takes a datagram; gives back the earliest where too many wait.
    pub(super) fn push(&mut self, source: u16, datagram: Datagram) -> Option<(u16, Box<Datagram>)> {
        self.last = datagram.at.or(self.last);
        self.waiting.insert((self.last, self.pushed), (source, Box::new(datagram)));
        self.pushed += 1;
        if self.waiting.len() > WAITING { self.pop() } else { None }
    }

    /// Gives back the earliest.
    pub(super) fn pop(&mut self) -> Option<(u16, Box<Datagram>)> {
        self.waiting.pop_first().map(|(_, datagram)| datagram)
    }
}
