//! What there is to know of one session before its rungs are judged.

use super::{
    aim::{self, Aim},
    shown::{self, Shown},
    timely::faults::{self, Fault},
};
use crate::{
    fact::Cite,
    frame::{DataFrame, MacVersion},
    ladder::join,
    region::Plan,
    roster::Class,
    trace::{
        Ask, Data, DataSeen, Line, Origin, Sending, Session, Transmission,
        settings::{Belief, Settings, Start, Turn},
    },
};

/// A session, its settings replayed, and its downlinks held against them.
#[derive(Debug)]
pub(in crate::ladder) struct Story<'a> {
    /// Its place in the node's sessions.
    pub(in crate::ladder) place: usize,
    pub(in crate::ladder) session: &'a Session,
    pub(in crate::ladder) settings: Settings,
    pub(in crate::ladder) plan: Option<&'static Plan>,
    /// The first uplink of a session that came after it: from there on the node does not use this one.
    pub(in crate::ladder) ends: Option<Line>,
    /// Whether the node showed that it got each frame, by the frame's place.
    pub(in crate::ladder) shown: Vec<Shown>,
    /// Where each downlink is aimed, in their order.
    pub(in crate::ladder) aims: Vec<Aim>,
    /// What is wrong with that.
    pub(in crate::ladder) faults: Vec<Fault>,
}

impl<'a> Story<'a> {
    /// Returns the stories of all sessions of a node.
    pub(super) fn all(join: &join::Case<'a>) -> Vec<Self> {
        let mut out: Vec<Self> = Vec::with_capacity(join.node.sessions.len());
        for (place, session) in join.node.sessions.iter().enumerate() {
            let before = carried_over(join, session, &out);
            let settings = Settings::replay(session, &start(join, session, before));
            let ends = superseded(join, place, session);
            let plan = join.plan;
            let mut story = Self {
                place,
                session,
                settings,
                plan,
                ends,
                shown: Vec::new(),
                aims: Vec::new(),
                faults: Vec::new(),
            };
            story.shown = shown::of(&story);
            story.aims = aim::all(join, &story);
            story.faults = faults::of(join, &story);
            out.push(story);
        }
        out
    }

    /// Returns a frame of the session.
    pub(in crate::ladder) fn seen(&self, place: usize) -> Option<&'a DataSeen> {
        self.session.frames.get(place)
    }

    /// Returns a frame of the session.
    pub(in crate::ladder) fn frame(&self, place: usize) -> Option<&'a DataFrame> {
        self.seen(place).map(|seen| seen.data.frame())
    }

    /// Returns how a downlink was handed to its gateway.
    pub(in crate::ladder) fn sending(&self, place: usize) -> Option<&'a Sending> {
        match &self.seen(place)?.data {
            Data::Down { sending, .. } => Some(sending),
            Data::Up { .. } => None,
        }
    }

    /// Returns who heard an uplink.
    pub(in crate::ladder) fn heard(&self, place: usize) -> Option<&'a Transmission> {
        self.seen(place)?.data.heard()
    }

    /// Returns where a frame is in the capture, with its time.
    pub(in crate::ladder) fn cite(&self, place: usize) -> Cite {
        self.seen(place).map(|seen| Cite::from(seen).with_time()).unwrap_or_default()
    }

    /// Returns the uplinks, each with the downlinks after it.
    pub(in crate::ladder) fn turns(&self) -> &[Turn] {
        &self.settings.turns
    }

    /// Returns the frame of a turn's uplink.
    pub(in crate::ladder) fn uplink(&self, turn: usize) -> Option<&'a DataFrame> {
        self.frame(self.turns().get(turn)?.first())
    }

    /// Returns where a turn's uplink is in the capture.
    pub(in crate::ladder) fn cite_turn(&self, turn: usize) -> Cite {
        self.turns().get(turn).map(|turn| self.cite(turn.first())).unwrap_or_default()
    }

    /// Returns what is in force for the windows of a turn's uplink.
    pub(in crate::ladder) fn at(&self, turn: usize) -> &Belief {
        self.settings.at(turn)
    }

    /// Returns the node's version, where it is known.
    pub(in crate::ladder) const fn version(&self) -> Option<MacVersion> {
        self.settings.version
    }

    /// Returns whether a downlink was sent, as far as the capture shows: the gateway did not refuse it.
    pub(in crate::ladder) fn went_out(&self, place: usize) -> bool {
        self.sending(place).is_some_and(|s| s.refusal().is_none() && !s.gone)
    }

    /// Returns the downlinks of a turn that the gateway did not refuse, each once however often it was
    /// ordered.
    pub(in crate::ladder) fn downs_of(&self, turn: &Turn) -> Vec<usize> {
        let mut out: Vec<usize> = Vec::new();
        for place in turn.downs.iter().copied().filter(|place| self.went_out(*place)) {
            let octets = self.sending(place).map(|s| &s.octets);
            if !out.iter().any(|own| self.sending(*own).map(|s| &s.octets) == octets) {
                out.push(place);
            }
        }
        out
    }

    /// Returns whether a frame is of the time in which the node used the session.
    pub(in crate::ladder) fn in_use(&self, place: usize) -> bool {
        let line = self.seen(place).map(|seen| seen.data.line());
        self.ends.is_none_or(|ends| line.is_some_and(|line| line < ends))
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
