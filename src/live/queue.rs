//! A queue between two threads with room for so many octets; whoever gives never waits.

use std::{
    collections::VecDeque,
    sync::{Condvar, Mutex, MutexGuard, PoisonError},
    time::Duration,
};

#[derive(Debug)]
pub(super) struct Queue<T> {
    state: Mutex<State<T>>,
    filled: Condvar,
    room: usize,
}

#[derive(Debug)]
struct State<T> {
    items: VecDeque<T>,
    octets: usize,
    closed: bool,
    waited_for: bool,
}

impl<T> Queue<T> {
    /// Returns an empty queue with that much room.
    pub(super) const fn new(room: usize) -> Self {
        let state = State { items: VecDeque::new(), octets: 0, closed: false, waited_for: false };
        Self { state: Mutex::new(state), filled: Condvar::new(), room }
    }

    fn lock(&self) -> MutexGuard<'_, State<T>> {
        // Items are moved whole: a thread that panicked left nothing half done.
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Adds an item that takes so many octets; says whether there was room.
    pub(super) fn give(&self, item: T, octets: usize) -> bool {
        let mut state = self.lock();
        if octets > 0 && state.octets + octets > self.room {
            return false;
        }
        state.octets += octets;
        state.items.push_back(item);
        let waited_for = std::mem::take(&mut state.waited_for);
        drop(state);
        if waited_for {
            self.filled.notify_one();
        }
        true
    }

    /// Says that no more will come.
    pub(super) fn close(&self) {
        self.lock().closed = true;
        self.filled.notify_all();
    }

    /// Takes all that there is into `into`, which is empty, after waiting for it for a while; says
    /// whether more may come.
    pub(super) fn take(&self, into: &mut VecDeque<T>, patience: Duration) -> bool {
        let mut state = self.lock();
        if state.items.is_empty() && !state.closed {
            state.waited_for = true;
            let waited = self.filled.wait_timeout(state, patience);
            (state, _) = waited.unwrap_or_else(PoisonError::into_inner);
        }
        std::mem::swap(&mut state.items, into);
        state.octets = 0;
        !(state.closed && into.is_empty())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_full_queue_refuses_and_never_waits() {
        let queue = Queue::new(10);
        assert!(queue.give('a', 6));
        assert!(!queue.give('b', 6));
        assert!(queue.give('c', 0), "a word without weight always has room");
        let mut got = VecDeque::new();
        assert!(queue.take(&mut got, Duration::ZERO));
        assert_eq!(got, ['a', 'c']);
        got.clear();
        assert!(queue.give('d', 10));
        queue.close();
        assert!(queue.take(&mut got, Duration::ZERO), "what is left comes first");
        got.clear();
        assert!(!queue.take(&mut got, Duration::ZERO));
    }
}
