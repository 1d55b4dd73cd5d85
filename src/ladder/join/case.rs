//! A node's attempts to join, each judged rung by rung.

use std::{cell::OnceCell, ops};

use super::{Rung, authentic, proven};
use crate::{
    ladder::{
        rung::{Ladder, Rungs, State},
        subject::Subject,
    },
    trace::Attempt,
};

/// A node, and a ladder for each of its attempts.
#[derive(Debug)]
pub(in crate::ladder) struct Case<'a> {
    subject: Subject<'a>,
    /// One climb an attempt.
    pub(in crate::ladder) ladders: Vec<Ladder<Rung>>,
    why: OnceCell<Option<authentic::Why>>,
    deaf: OnceCell<proven::Deaf>,
}

impl<'a> ops::Deref for Case<'a> {
    type Target = Subject<'a>;

    fn deref(&self) -> &Subject<'a> {
        &self.subject
    }
}

impl<'a> Case<'a> {
    pub(in crate::ladder) fn new(subject: Subject<'a>) -> Self {
        let ladders = subject.node.attempts.iter().map(|_| Ladder::open()).collect();
        let mut case = Self { subject, ladders, why: OnceCell::new(), deaf: OnceCell::new() };
        // Rung by rung, not attempt by attempt: the last one asks how far every attempt climbed.
        for rung in Rung::ALL {
            for (attempt, asked) in case.node.attempts.iter().enumerate() {
                // A Rejoin-Request is judged with its session.
                if asked.ask.join().is_none() {
                    continue;
                }
                let judgement = rung.judge(&case, attempt);
                if let Some(ladder) = case.ladders.get_mut(attempt) {
                    ladder[*rung] = judgement;
                }
            }
        }
        for ladder in &mut case.ladders {
            // What was taken was sent, and in time, whatever the capture says.
            for rung in [Rung::Timely, Rung::Sent] {
                if ladder.state(Rung::Proven) == State::Proven
                    && ladder.state(rung) == State::Broken
                {
                    ladder[rung].state = State::Unknown;
                    ladder[rung].add("the node took the accept all the same");
                }
            }
        }
        case
    }

    /// The attempt that matters most to the reader: the last that broke lowest, or else the one
    /// that climbed highest.
    pub(in crate::ladder) fn telling_attempt(&self) -> Option<usize> {
        let all = || self.ladders.iter().enumerate();
        let broken = all().filter_map(|(i, ladder)| Some((ladder.first_broken()?, i)));
        let worst = broken.min_by_key(|(rung, i)| (*rung, std::cmp::Reverse(*i)));
        let highest = || all().max_by_key(|(_, ladder)| ladder.count(State::Proven));
        worst.map(|(_, i)| i).or_else(|| highest().map(|(i, _)| i))
    }

    pub(in crate::ladder) fn state(&self, attempt: usize, rung: Rung) -> State {
        self.ladders.get(attempt).map_or(State::Unknown, |ladder| ladder.state(rung))
    }

    /// The attempts whose rung is broken.
    pub(in crate::ladder) fn broken_at(
        &self,
        rung: Rung,
    ) -> impl Iterator<Item = (usize, &'a Attempt)> {
        let attempts = self.node.attempts.iter().enumerate();
        attempts.filter(move |(i, _)| self.state(*i, rung) == State::Broken)
    }

    pub(in crate::ladder) fn ever(&self, rung: Rung, state: State) -> bool {
        self.ladders.iter().any(|ladder| ladder.state(rung) == state)
    }

    /// Why the MIC fails under the key on record, searched once.
    pub(in crate::ladder) fn why(&self) -> Option<&authentic::Why> {
        self.why.get_or_init(|| authentic::why(self)).as_ref()
    }

    /// Which good accepts the node did not take, as far as the rungs below the last tell.
    pub(in crate::ladder) fn deaf(&self) -> &proven::Deaf {
        self.deaf.get_or_init(|| proven::Deaf::of(self))
    }
}
