//! What is kept of one node.

use std::{
    collections::{BTreeSet, VecDeque},
    time::{Duration, Instant},
};

use jiff::Timestamp;

use super::Standing;
use crate::{
    id::Eui64,
    intake::{Event, What},
};

/// The latest events of one node, and how its ladder stands.
#[derive(Debug)]
pub(super) struct Kept {
    /// Requests, accepts, and what gateways said of them: a node that joined keeps its exchange.
    joins: VecDeque<Event>,
    data: VecDeque<Event>,
    room: usize,
    asked: Option<Timestamp>,
    answered: bool,
    due: bool,
    not_before: Option<Instant>,
    pub(super) standing: Option<Standing>,
}

impl Kept {
    /// Returns a node of which so many events are kept.
    pub(super) const fn new(room: usize) -> Self {
        Self {
            joins: VecDeque::new(),
            data: VecDeque::new(),
            room,
            asked: None,
            answered: false,
            due: false,
            not_before: None,
            standing: None,
        }
    }

    /// Keeps an event; says whether its ladder is to be climbed that was not yet to be.
    pub(super) fn keep(&mut self, event: Event, of_join: bool) -> bool {
        if of_join {
            match event.what {
                What::Heard(_) => (self.asked, self.answered) = (event.time, false),
                What::Ordered(_) => self.answered = true,
                _ => {}
            }
            self.joins.push_back(event);
            if self.joins.len() > self.room {
                self.joins.pop_front();
            }
        } else {
            self.data.push_back(event);
            if self.data.len() > self.room {
                self.thin();
            }
        }
        let soon = Instant::now() + PAUSE;
        self.not_before = self.not_before.map(|time| time.min(soon));
        !std::mem::replace(&mut self.due, true)
    }

    /// Forgets every second one of the older half: what stays shows how the counter rose, without a
    /// gap that would look like one of the node's.
    fn thin(&mut self) {
        let half = self.data.len() / 2;
        let mut place = 0;
        self.data.retain(|_| {
            place += 1;
            place > half || place % 2 == 1
        });
    }

    pub(super) fn is_ripe(&self, now: Instant) -> bool {
        self.not_before.is_none_or(|time| now >= time)
    }

    /// Notes that its ladder is climbed now.
    pub(super) fn climbed(&mut self, now: Instant) {
        self.due = false;
        self.not_before = Some(now + PAUSE);
    }

    /// Asks for its ladder to be climbed after that time.
    pub(super) fn look_again(&mut self, now: Instant, after: Duration) {
        self.due = true;
        self.not_before = Some(now + after);
    }

    /// Returns for how long an accept may still come.
    pub(super) fn awaits_answer(&self, now: Timestamp) -> Option<Duration> {
        let since = now.duration_since(self.asked?);
        if self.answered || since.is_negative() {
            return None;
        }
        WINDOWS_OVER.checked_sub(since.unsigned_abs()).filter(|left| !left.is_zero())
    }

    /// Returns the latest request that was heard, or else the latest data.
    pub(super) fn latest(&self) -> Option<&Event> {
        let asked = self.joins.iter().rev().find(|event| event.heard().is_some());
        asked.or(self.data.back())
    }

    pub(super) fn events(&self) -> impl Iterator<Item = &Event> {
        self.joins.iter().chain(&self.data)
    }

    /// Returns the gateways that heard it.
    pub(super) fn gateways(&self) -> BTreeSet<Option<Eui64>> {
        self.events().map(|event| event.gateway).collect()
    }
}

/// A node's ladder is not climbed more often.
const PAUSE: Duration = Duration::from_millis(200);
/// JOIN_ACCEPT_DELAY2 is 6 s (regional parameters); then some for the way.
const WINDOWS_OVER: Duration = Duration::from_secs(7);
