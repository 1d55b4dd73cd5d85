//! Nodes that were heard and are on no roster.

use jiff::Timestamp;

use crate::{
    id::{DevEui, JoinEui},
    trace::{NodeTrace, Sighting, Transmission},
};

/// A node of which nothing is known but what it sends.
#[derive(Debug)]
pub(crate) struct Stranger {
    pub(crate) dev_eui: Option<DevEui>,
    pub(crate) join_eui: Option<JoinEui>,
    pub(crate) attempts: usize,
    pub(crate) answered: usize,
    pub(crate) first: Option<Timestamp>,
    pub(crate) last: Option<Timestamp>,
    /// The strongest reception, dBm.
    pub(crate) rssi: Option<f32>,
}

pub(super) fn of(node: &NodeTrace) -> Stranger {
    let heard = || node.attempts.iter().map(|attempt| &attempt.heard);
    let times = || heard().filter_map(Transmission::at);
    let sightings = heard().flat_map(Transmission::sightings);
    let rssi = sightings.filter_map(|s: &Sighting| s.rssi).max_by(f32::total_cmp);
    Stranger {
        dev_eui: node.dev_eui,
        join_eui: node.join_eui,
        attempts: node.attempts.total(),
        answered: node.attempts.iter().filter(|a| !a.answers.is_empty()).count(),
        first: times().min(),
        last: times().max(),
        rssi,
    }
}
