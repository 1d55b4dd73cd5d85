//! A node's attempts to join, each judged rung by rung.

use std::{cell::OnceCell, ops};

use super::{Rung, tried::Tried, why::Why};
use crate::{
    ladder::{
        rung::{Ladder, State},
        subject::Subject,
    },
    trace::{Attempt, Origin},
};

/// A node, and a ladder for each of its attempts.
#[derive(Debug)]
pub(in crate::ladder) struct Case<'a> {
    subject: Subject<'a>,
    /// One climb an attempt.
    pub(in crate::ladder) ladders: Vec<Ladder<Rung>>,
    /// The accepts of each attempt, as rungs 7 to 9 judge each of them.
    pub(super) tried: Vec<Vec<Tried<'a>>>,
    /// The attempts whose good accepts the node did not take.
    pub(super) deaf: Vec<usize>,
    /// Why the MIC fails under the key on record; `authentic` searches it once.
    pub(in crate::ladder) why: OnceCell<Option<Why>>,
}

impl<'a> ops::Deref for Case<'a> {
    type Target = Subject<'a>;

    fn deref(&self) -> &Subject<'a> {
        &self.subject
    }
}

impl<'a> Case<'a> {
    /// A case of which nothing is judged yet.
    pub(super) fn open(subject: Subject<'a>) -> Self {
        let ladders = subject.node.attempts.iter().map(|_| Ladder::open()).collect();
        Self { subject, ladders, tried: Vec::new(), deaf: Vec::new(), why: OnceCell::new() }
    }

    /// The attempt that matters most to the reader, `lead` being the lowest rung of the causes found:
    /// of those since the last join, or else of all, the last that broke lowest. Where nothing of
    /// that explains a join that came in the end, the last join; else the one that climbed highest.
    pub(in crate::ladder) fn telling_attempt(&self, lead: Option<Rung>) -> Option<usize> {
        let broken = |i: usize| Some((self.ladders.get(i)?.first_broken()?, i));
        let worst = |range: ops::Range<usize>| {
            let lowest = range.filter_map(broken).min_by_key(|(rung, i)| (*rung, usize::MAX - *i));
            lowest.map(|(_, i)| i)
        };
        let all = 0..self.ladders.len();
        let joined = self.last_join();
        if let Some(joined) = joined {
            let since = worst(self.last_run());
            return since.or_else(|| lead.and_then(|_| worst(all))).or(Some(joined));
        }
        // A good accept at last matters more than what came before it, unless that has a cause.
        let good = all.clone().last().filter(|i| {
            lead.is_none() && broken(*i).is_none() && self.tried(*i).iter().any(Tried::is_good)
        });
        let highest =
            || all.clone().max_by_key(|i| self.ladders.get(*i).map(|l| l.count(State::Proven)));
        good.or_else(|| worst(all.clone())).or_else(highest)
    }

    /// The last attempt after which data proves the join.
    pub(in crate::ladder) fn last_join(&self) -> Option<usize> {
        self.ladders.iter().rposition(|ladder| ladder.state(Rung::Proven) == State::Proven)
    }

    /// The attempts after the last join that data proves: all of them where there is none.
    ///
    /// What is proven is read off the sessions, so that rungs may ask for it before rung 10 is judged.
    pub(in crate::ladder) fn last_run(&self) -> ops::Range<usize> {
        let joined = self.node.sessions.iter().filter_map(|session| {
            let Origin::Accept { attempt, .. } = session.origin else { return None };
            let by_the_standard = |(seen, _): (_, _)| {
                session.candidate_of(seen).is_some_and(|candidate| candidate.lawful)
            };
            session.uplinks().any(by_the_standard).then_some(attempt)
        });
        joined.max().map_or(0, |last| last + 1)..self.ladders.len()
    }

    /// The accepts of an attempt, as rungs 7 to 9 judge each of them.
    pub(in crate::ladder) fn tried(&self, index: usize) -> &[Tried<'a>] {
        self.tried.get(index).map(Vec::as_slice).unwrap_or_default()
    }

    /// Whether the node did not take the good accept of an attempt.
    pub(in crate::ladder) fn is_deaf(&self, index: usize) -> bool {
        self.deaf.contains(&index)
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
}
