//! A node's sessions, each judged rung by rung.

use std::ops;

use super::{Rung, Story};
use crate::{
    ladder::{
        join,
        rung::{Ladder, State},
    },
    trace::Session,
};

/// A node whose joins are judged, and a story and a ladder for each of its sessions.
#[derive(Debug)]
pub(in crate::ladder) struct Case<'a> {
    join: join::Case<'a>,
    /// What there is to know of each session.
    pub(in crate::ladder) stories: Vec<Story<'a>>,
    /// One climb a session.
    pub(in crate::ladder) ladders: Vec<Ladder<Rung>>,
}

impl<'a> ops::Deref for Case<'a> {
    type Target = join::Case<'a>;

    fn deref(&self) -> &join::Case<'a> {
        &self.join
    }
}

impl<'a> Case<'a> {
    pub(in crate::ladder) fn new(join: join::Case<'a>) -> Self {
        let stories = Story::all(&join);
        let ladders = stories.iter().map(|_| Ladder::open()).collect();
        Self { join, stories, ladders }
    }

    /// Returns a session of the node.
    pub(in crate::ladder) fn session(&self, session: usize) -> Option<&'a Session> {
        self.node.sessions.get(session)
    }

    /// Returns what there is to know of a session.
    pub(in crate::ladder) fn story(&self, session: usize) -> Option<&Story<'a>> {
        self.stories.get(session)
    }

    /// The session that matters most to the reader: the last that broke lowest, or else the last
    /// with data.
    pub(in crate::ladder) fn telling_session(&self) -> Option<usize> {
        let all = || self.ladders.iter().enumerate();
        let broken = all().filter_map(|(i, ladder)| Some((ladder.first_broken()?, i)));
        let worst = broken.min_by_key(|(rung, i)| (*rung, std::cmp::Reverse(*i)));
        let used = || all().filter(|(_, ladder)| ladder.state(Rung::Heard) == State::Proven);
        worst.map(|(_, i)| i).or_else(|| used().next_back().map(|(i, _)| i))
    }
}
