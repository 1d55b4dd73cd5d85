//! What becomes of a candidate: it is counted, compared, or tried on the frames.

use super::{kernel::Message, mistake::Mistake};
use crate::frame::Mic;

/// Takes candidates one by one.
pub(super) trait Sink {
    /// Takes a candidate. Which mistake would have made it is asked only when it fits: of millions
    /// that are offered hardly one does.
    fn offer(&mut self, candidate: u128, mistake: impl FnOnce() -> Mistake);
}

/// Counts candidates, for a search that says beforehand how long it is.
#[derive(Default)]
pub(super) struct Counter(pub(super) u64);

impl Sink for Counter {
    fn offer(&mut self, _: u128, _: impl FnOnce() -> Mistake) {
        self.0 += 1;
    }
}

/// Compares candidates with a value that is known.
pub(super) struct Wanted {
    pub(super) value: u128,
    pub(super) found: Option<Mistake>,
}

impl Sink for Wanted {
    fn offer(&mut self, candidate: u128, mistake: impl FnOnce() -> Mistake) {
        if candidate == self.value && self.found.is_none() {
            self.found = Some(mistake());
        }
    }
}

/// Tries candidates on every frame that the fault should explain.
pub(super) struct Prober<'a> {
    first: &'a (Message, Mic),
    others: &'a [(Message, Mic)],
    pub(super) tried: u64,
    pub(super) found: Vec<(u128, Mistake)>,
}

impl<'a> Prober<'a> {
    /// `None` without a frame: nothing would be refuted.
    pub(super) fn new(frames: &'a [(Message, Mic)]) -> Option<Self> {
        let (first, others) = frames.split_first()?;
        Some(Self { first, others, tried: 0, found: Vec::new() })
    }
}

impl Sink for Prober<'_> {
    #[inline]
    fn offer(&mut self, candidate: u128, mistake: impl FnOnce() -> Mistake) {
        self.tried += 1;
        let holds =
            |(message, mic): &(Message, Mic)| message.mic_under(candidate.to_be_bytes()) == *mic;
        if holds(self.first) && self.others.iter().all(holds) {
            self.found.push((candidate, mistake()));
        }
    }
}

/// Leaves out a value that needs no mistake: the claimed one itself.
pub(super) struct Except<'a, S> {
    pub(super) value: u128,
    pub(super) sink: &'a mut S,
}

impl<S: Sink> Sink for Except<'_, S> {
    #[inline]
    fn offer(&mut self, candidate: u128, mistake: impl FnOnce() -> Mistake) {
        if candidate != self.value {
            self.sink.offer(candidate, mistake);
        }
    }
}
