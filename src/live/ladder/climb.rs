//! A ladder climbed again, from what is kept of its node.

use std::{sync::atomic::AtomicBool, time::Instant};

use jiff::Timestamp;

use super::{Change, Ladders, Standing, Who, node::Kept};
use crate::{
    explore::near_miss::Effort,
    intake::{Event, Leg, Position, What},
    ladder::{self, Diagnosis, Place, Verdict, join::Rung},
    roster::Roster,
    trace::{NodeTrace, Tracer},
};

/// What came of climbing a ladder.
#[derive(Debug)]
pub(in crate::live) enum Climbed {
    /// None was due.
    None,
    /// It stands as before.
    Same,
    /// It stands otherwise.
    Changed(Box<Change>),
}

impl Ladders<'_> {
    /// Returns whether a ladder waits to be climbed.
    pub(in crate::live) fn is_due(&self) -> bool {
        !self.due.is_empty()
    }

    /// Climbs one ladder, if one is due and it is time for it; with `last`, whatever the time.
    pub(in crate::live) fn climb(&mut self, now: Timestamp, last: bool) -> Climbed {
        let clock = Instant::now();
        if !last && self.rest_until.is_some_and(|until| clock < until) {
            return Climbed::None;
        }
        for _ in 0..self.due.len() {
            let Some(who) = self.due.pop_front() else { break };
            let Some(node) = self.nodes.get_mut(&who) else { continue };
            if !last && !node.is_ripe(clock) {
                self.due.push_back(who);
                continue;
            }
            node.climbed(clock);
            let change = self.climb_one(who, clock, now, last);
            // Ladders get a quarter of the time at most, whoever floods.
            self.rest_until = Some(Instant::now() + clock.elapsed() * 3);
            return change.map_or(Climbed::Same, |change| Climbed::Changed(Box::new(change)));
        }
        Climbed::None
    }

    fn climb_one(
        &mut self,
        who: Who,
        clock: Instant,
        now: Timestamp,
        last: bool,
    ) -> Option<Change> {
        let diagnosis = self.diagnose(who, now)?;
        let node = self.nodes.get_mut(&who)?;
        let standing = Standing::of(&diagnosis);
        let waits = node.awaits_answer(now);
        if let (Some(left), false) = (waits, last) {
            node.look_again(clock, left);
            self.due.push_back(who);
        }
        // Within seconds of a request, that no accept came yet is no finding.
        let answered = Place::Join(Rung::Answered);
        let unanswered = |verdict: &Verdict| verdict.place == answered;
        if waits.is_some()
            && (standing.broken == Some(answered) || diagnosis.causes.iter().any(unanswered))
        {
            return None;
        }
        if node.standing.as_ref() == Some(&standing) {
            return None;
        }
        let before = node.standing.replace(standing.clone());
        Some(Change { at: now, before, now: standing, diagnosis })
    }

    fn diagnose(&self, who: Who, now: Timestamp) -> Option<Diagnosis> {
        let node = self.nodes.get(&who)?;
        // Another node's key is looked for where that is cheap.
        let alone;
        let (roster, place) = match who {
            _ if self.roster.nodes.len() <= SMALL_ROSTER => (
                self.roster,
                match who {
                    Who::Roster(place) => Some(place),
                    Who::Stranger(_) => None,
                },
            ),
            Who::Roster(place) => {
                let nodes = self.roster.nodes.get(place).cloned().into_iter().collect();
                alone = Roster { nodes, ..self.roster.without_nodes() };
                (&alone, Some(0))
            }
            Who::Stranger(_) => {
                alone = self.roster.without_nodes();
                (&alone, None)
            }
        };
        let mut tracer = Tracer::new(roster);
        let gateways = node.gateways();
        for link in gateways.iter().filter_map(|gateway| self.links.get(gateway)) {
            for event in link.pulls.iter().chain(&link.push_ack).chain(&link.pull_ack) {
                tracer.push(event.clone());
            }
        }
        for event in node.events() {
            tracer.push(event.clone());
        }
        if matches!(who, Who::Stranger(_)) {
            // A stranger may be a node of the roster under another name, if that one is not heard.
            for place in 0..roster.nodes.len() {
                let heard = self.nodes.get(&Who::Roster(place)).and_then(Kept::latest);
                if let Some(event) = heard {
                    tracer.push(event.clone());
                }
            }
        }
        // Until now nothing else was heard.
        let until = Event::new(Position::packet(0), What::Asked(Leg::Pull));
        tracer.push(Event { time: Some(now), ..until });
        let trace = tracer.finish();
        let place = place.or_else(|| {
            let Who::Stranger(eui) = who else { return None };
            let is = |n: &NodeTrace| n.index.is_none() && n.dev_eui == Some(eui);
            trace.nodes.iter().position(is)
        })?;
        let effort = Effort { max_digits: 1, stop: &NEVER, progress: None };
        let options = ladder::Options { plan: self.plan, effort };
        ladder::diagnose_node(&trace, roster, place, options)
    }
}

static NEVER: AtomicBool = AtomicBool::new(false);
/// A roster this short is at hand as a whole for every node.
const SMALL_ROSTER: usize = 64;
