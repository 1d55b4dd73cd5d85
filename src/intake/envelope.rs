//! What is around a message: where it is, when it came, through which gateway.

use jiff::Timestamp;

use super::event::{Event, HowFound, Position, What, Wire};
use crate::id::Eui64;

/// All of an event but what it says.
#[derive(Clone, Debug, Default)]
pub(super) struct Envelope {
    pub(super) place: Position,
    pub(super) time: Option<Timestamp>,
    pub(super) gateway: Option<Eui64>,
    pub(super) wire: Wire,
    pub(super) found: HowFound,
}

impl Envelope {
    /// Returns one of which only the place is known.
    pub(super) fn at(place: Position) -> Self {
        Self { place, ..Self::default() }
    }

    /// Returns the event that says this.
    pub(super) fn event(&self, what: What) -> Event {
        let Self { place, time, gateway, found, .. } = *self;
        Event { place, time, gateway, wire: self.wire.clone(), found, what, notes: Vec::new() }
    }
}
