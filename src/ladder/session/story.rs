//! What there is to know of one session before its rungs are judged.

use std::ops;

use super::{
    aimed::Aimed,
    course::Course,
    faults::{self, Fault},
};
use crate::{
    ladder::join,
    roster::Class,
    trace::{
        Ask, Data, Line, Origin, Session,
        settings::{Belief, Settings, Start},
    },
};

/// A session, its settings replayed, and its downlinks held against them.
#[derive(Debug)]
pub(in crate::ladder) struct Story<'a> {
    aimed: Aimed<'a>,
    /// What is wrong with where its downlinks are aimed.
    pub(in crate::ladder) faults: Vec<Fault>,
}

impl<'a> ops::Deref for Story<'a> {
    type Target = Aimed<'a>;

    fn deref(&self) -> &Aimed<'a> {
        &self.aimed
    }
}

impl<'a> Story<'a> {
    /// Returns the stories of all sessions of a node.
    pub(super) fn all(join: &join::Case<'a>) -> Vec<Self> {
        let mut out: Vec<Self> = Vec::with_capacity(join.node.sessions.len());
        for (place, session) in join.node.sessions.iter().enumerate() {
            let before = carried_over(join, session, &out);
            let settings = Settings::replay(session, &start(join, session, before));
            let ends = superseded(join, place, session);
            let course = Course { place, session, settings, plan: join.plan, ends };
            let aimed = Aimed::new(join, course);
            out.push(Self { faults: faults::of(join, &aimed), aimed });
        }
        out
    }
}

/// The frequency of the request that began a session: in CN470 it picks RX2.
fn asked_hz(join: &join::Case<'_>, session: &Session) -> Option<u32> {
    let Origin::Accept { attempt, .. } = session.origin else { return None };
    join.node.attempts.get(attempt)?.heard.best().freq_hz
}

fn start<'s>(join: &join::Case<'s>, session: &Session, before: Option<&'s Belief>) -> Start<'s> {
    let stated: Option<Class> = join.firmware().and_then(|f| f.class);
    let own = |data: &&Data| data.heard().is_none() && data.frame().dev_addr == session.dev_addr;
    Start {
        plan: join.plan,
        version: join.node_version().or(join.record_version()),
        accept: join.accept_of(session),
        asked_hz: asked_hz(join, session),
        before,
        class: stated,
        mask: join.firmware().and_then(|f| f.channel_mask.as_deref()),
        unread: join.node.unverified.iter().filter(own).map(Data::line).collect(),
    }
}

/// What was in force in the session before, where a Rejoin-Request of type 2 carried it over.
fn carried_over<'s>(
    join: &join::Case<'_>,
    session: &Session,
    earlier: &'s [Story<'_>],
) -> Option<&'s Belief> {
    let Origin::Accept { attempt, .. } = session.origin else { return None };
    let attempt = join.node.attempts.get(attempt)?;
    let Ask::Rejoin(request) = &attempt.ask else { return None };
    if request.body.rejoin_type() != 2 {
        return None;
    }
    let used = |story: &&Story<'_>| {
        story.session.uplinks().any(|(seen, _)| seen.data.line() < attempt.line())
    };
    let last = earlier
        .iter()
        .filter(used)
        .max_by_key(|story| story.session.uplinks().map(|(seen, _)| seen.data.line()).max());
    last.map(|story| story.settings.last())
}

/// The first uplink of a later session after which the node never came back to this one.
fn superseded(join: &join::Case<'_>, place: usize, session: &Session) -> Option<Line> {
    let own = session.uplinks().map(|(seen, _)| seen.data.line()).max();
    let others = join.node.sessions.iter().enumerate().filter(|(other, _)| *other != place);
    let firsts = others.filter_map(|(_, other)| {
        let first = other.uplinks().map(|(seen, _)| seen.data.line()).min()?;
        // A session that was there before, and was left for this one, does not end it.
        own.is_none_or(|own| first > own).then_some(first)
    });
    firsts.min()
}
