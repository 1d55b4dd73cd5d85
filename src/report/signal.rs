//! How well each frame was received, against what its modulation needs.

use super::{data, words};
use crate::{
    id::Eui64,
    radio::{Modulation, demodulation_floor},
    trace::{NodeTrace, Sighting},
};

/// The receptions of a node.
#[derive(Debug)]
pub(crate) struct Signal {
    /// The last of them, in the order of the capture.
    pub(crate) points: Vec<Point>,
    /// How many came before these.
    pub(crate) earlier: usize,
}

/// One reception.
#[derive(Debug)]
pub(crate) struct Point {
    pub(crate) place: String,
    pub(crate) what: &'static str,
    pub(crate) gateway: Option<Eui64>,
    pub(crate) modulation: Option<Modulation>,
    pub(crate) rssi: Option<f32>,
    pub(crate) snr: Option<f32>,
    /// The least SNR at which the modulation is read.
    pub(crate) floor: Option<f32>,
}

impl Point {
    /// Returns how far the SNR lies above the floor, dB.
    pub(crate) fn margin(&self) -> Option<f32> {
        Some(self.snr? - self.floor?)
    }
}

pub(super) fn of(node: &NodeTrace) -> Signal {
    let asked = node.attempts.iter().map(|attempt| ("request", &attempt.heard));
    let seen = data::of(node);
    let sent = seen.iter().filter_map(|seen| Some(("data", seen.data.heard()?)));
    let mut all: Vec<(&'static str, &Sighting)> = asked
        .chain(sent)
        .flat_map(|(what, heard)| heard.sightings().map(move |sighting| (what, sighting)))
        .filter(|(_, sighting)| sighting.rssi.is_some() || sighting.snr.is_some())
        .collect();
    all.sort_by_key(|(_, sighting)| sighting.line);
    let earlier = all.len().saturating_sub(MOST);
    let points = all.iter().skip(earlier).map(|(what, sighting)| point(what, sighting));
    Signal { points: points.collect(), earlier }
}

fn point(what: &'static str, sighting: &Sighting) -> Point {
    let finite = |value: Option<f32>| value.filter(|v| v.is_finite());
    let floor = match sighting.modulation {
        Some(Modulation::Lora { sf, .. }) => demodulation_floor(sf),
        _ => None,
    };
    Point {
        place: words::place(sighting.line, sighting.at),
        what,
        gateway: sighting.gateway,
        modulation: sighting.modulation,
        rssi: finite(sighting.rssi),
        snr: finite(sighting.snr),
        floor,
    }
}

/// Receptions that a drawing has room for.
const MOST: usize = 40;
