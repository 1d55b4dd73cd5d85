//! The course of one session: its frames, and the settings in force as they are replayed.

use crate::{
    fact::Cite,
    frame::{DataFrame, MacVersion},
    region::Plan,
    trace::{
        Data, DataSeen, Line, Sending, Session, Transmission,
        settings::{Belief, Settings, Turn},
    },
};

/// A session and its settings, replayed.
#[derive(Debug)]
pub(in crate::ladder) struct Course<'a> {
    /// Its place in the node's sessions.
    pub(in crate::ladder) place: usize,
    pub(in crate::ladder) session: &'a Session,
    pub(in crate::ladder) settings: Settings,
    pub(in crate::ladder) plan: Option<&'static Plan>,
    /// The first uplink of a session that came after it: from there on the node does not use this one.
    pub(in crate::ladder) ends: Option<Line>,
}

impl<'a> Course<'a> {
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

    /// Returns when a frame was captured, microseconds since 1970.
    pub(in crate::ladder) fn time_us(&self, place: usize) -> Option<i64> {
        self.seen(place)?.data.at().map(jiff::Timestamp::as_microsecond)
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
