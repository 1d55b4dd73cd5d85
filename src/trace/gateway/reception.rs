//! What a gateway receives: of how many nodes, at which data rates, and marks by which another gateway's
//! receptions are known for the same ones.

use std::{
    collections::{BTreeMap, BTreeSet, hash_map::DefaultHasher},
    hash::{Hash, Hasher},
};

use crate::{
    frame::Frame,
    intake::Heard,
    radio::{Modulation, demodulation_floor},
    trace::Moment,
};

/// Nodes that are told apart. Whether they are five or fifty is all that is asked.
const MOST_NODES: usize = 64;
/// Receptions that are kept to be compared with those of other gateways.
const MOST_MARKS: usize = 64;
/// Data rates that are told apart: no plan has more.
const MOST_RATES: usize = 16;
/// At this margin a frame with a bad CRC is not a matter of range.
const SOUND_DB: f32 = 5.0;

/// What a gateway receives.
#[derive(Clone, Debug, Default)]
pub struct Receptions {
    /// The first frame with a good CRC, or none said, and the last.
    pub good: Option<(Moment, Moment)>,
    /// The first frame with a bad CRC.
    pub bad: Option<Moment>,
    /// Frames with a bad CRC and a margin at which that is not a matter of range.
    pub bad_at_a_sound_margin: u64,
    /// Frames by data rate.
    pub rates: BTreeMap<Modulation, u64>,
    /// Frames of nodes by frequency: how many nodes were heard on it.
    nodes: BTreeSet<u64>,
    /// The receptions with the smallest hashes: of two gateways that report the same ones they are the same.
    marks: BTreeMap<u64, Moment>,
}

impl Receptions {
    /// Returns how many nodes were heard, 64 at the most.
    pub fn nodes(&self) -> usize {
        self.nodes.len()
    }

    /// Returns receptions that another gateway reports as well, with the same counter, signal and channel: where
    /// each of them has it.
    pub fn same_as(&self, other: &Self) -> Vec<(Moment, Moment)> {
        let marks = self.marks.iter();
        marks.filter_map(|(hash, own)| Some((*own, *other.marks.get(hash)?))).collect()
    }

    pub(super) fn bad(&mut self, moment: Moment, heard: &Heard) {
        self.bad.get_or_insert(moment);
        let floor = match heard.modulation {
            Some(Modulation::Lora { sf, .. }) => demodulation_floor(sf),
            _ => None,
        };
        let margin = heard.snr.zip(floor).map(|(snr, floor)| snr - floor);
        self.bad_at_a_sound_margin += u64::from(margin.is_some_and(|db| db >= SOUND_DB));
    }

    pub(super) fn good(&mut self, moment: Moment, heard: &Heard) {
        self.good = Some((self.good.map_or(moment, |(first, _)| first), moment));
        if let Some(rate) = heard.modulation
            && (self.rates.len() < MOST_RATES || self.rates.contains_key(&rate))
        {
            *self.rates.entry(rate).or_default() += 1;
        }
        if self.nodes.len() < MOST_NODES
            && let Some(node) = node_of(heard)
        {
            self.nodes.insert(node);
        }
        if heard.tmst.is_some() && heard.rssi.is_some() {
            let mark = mark_of(heard);
            let full = self.marks.len() >= MOST_MARKS;
            let largest = self.marks.last_key_value().map(|(hash, _)| *hash);
            if !full || largest.is_some_and(|largest| mark < largest) {
                self.marks.insert(mark, moment);
                if self.marks.len() > MOST_MARKS {
                    self.marks.pop_last();
                }
            }
        }
    }
}

/// What names the node of a frame.
fn node_of(heard: &Heard) -> Option<u64> {
    let mut hasher = DefaultHasher::new();
    match heard.frame.frame.as_ref()? {
        Frame::JoinRequest(request) => (0_u8, request.dev_eui).hash(&mut hasher),
        Frame::RejoinRequest(request) => (0_u8, request.body.dev_eui()?).hash(&mut hasher),
        Frame::Data(data) => (1_u8, data.dev_addr).hash(&mut hasher),
        _ => return None,
    }
    Some(hasher.finish())
}

/// What two radios never have in common: counter, signal and channel of one reception.
fn mark_of(heard: &Heard) -> u64 {
    let mut hasher = DefaultHasher::new();
    let bits = |number: Option<f32>| number.map(f32::to_bits);
    (heard.tmst, heard.freq_hz, heard.chan, bits(heard.rssi), bits(heard.snr)).hash(&mut hasher);
    heard.octets().hash(&mut hasher);
    hasher.finish()
}
