//! Chains too far from the centre of their radio.

use super::place;
use crate::{
    fact::{Certainty, Fact, Value, fact},
    ladder::finding::Finding,
    roster::gateway_config::{Channel, Reception},
};

/// A chain that some radios, or all, do not reach.
#[derive(Debug)]
pub(in crate::ladder::gateway) struct Reach {
    fact: Fact,
    certain: bool,
}

/// What radios pass, hertz: for a channel of so many kHz the older ones, and the newer ones. Taken from
/// memory of two drivers' constants; they give 400 and 737.5 kHz for channels of 125 kHz.
const PASSES: [(u16, u32, u32); 3] =
    [(125, 925_000, 1_600_000), (250, 1_000_000, 1_600_000), (500, 1_100_000, 1_600_000)];

/// Returns the chains that receive and are not within what every radio passes.
pub(in crate::ladder::gateway) fn of(channels: &[Channel]) -> Vec<Reach> {
    let received = channels.iter().filter(|channel| channel.reception == Reception::On);
    received.filter_map(one).collect()
}

fn one(channel: &Channel) -> Option<Reach> {
    let (offset, centre) = (channel.offset_hz?, channel.centre_hz?);
    let bandwidth = channel.bandwidth_khz?;
    let (_, older, newer) = PASSES.into_iter().find(|(khz, ..)| *khz == bandwidth)?;
    let half = u32::from(bandwidth) * 500;
    let limit = |passes: u32| (passes / 2).saturating_sub(half);
    let away = offset.unsigned_abs();
    let certain = away > limit(newer);
    if away <= limit(older) {
        return None;
    }
    let khz = |hz: u32| f64::from(hz) / 1000.0;
    let (place, chain) = (place(channel.place.as_ref()?), channel.chain.to_string());
    let centre = Value::Frequency(centre);
    let (offset, older, newer) = (f64::from(offset) / 1000.0, khz(limit(older)), khz(limit(newer)));
    let fact = if certain {
        fact!(
            "{place}: {chain} is {offset} kHz from its radio's centre {centre}: no radio passes a channel of \
             {bandwidth} kHz beyond {newer} kHz",
            place,
            chain,
            offset,
            centre,
            bandwidth,
            newer
        )
    } else {
        fact!(
            "{place}: {chain} is {offset} kHz from its radio's centre {centre}: newer radios pass a channel of \
             {bandwidth} kHz up to {newer} kHz, older ones up to {older} kHz",
            place,
            chain,
            offset,
            centre,
            bandwidth,
            newer,
            older
        )
    };
    Some(Reach { fact, certain })
}

impl Reach {
    pub(in crate::ladder::gateway) fn fact(&self) -> Fact {
        self.fact.clone()
    }

    /// Whether no radio reaches it.
    pub(in crate::ladder::gateway) const fn is_certain(&self) -> bool {
        self.certain
    }
}

pub(in crate::ladder::gateway) fn finding(all: &[Reach]) -> Option<Finding> {
    if all.is_empty() {
        return None;
    }
    let certain = all.iter().filter(|reach| reach.certain).count();
    let (certainty, count) = match certain {
        0 => (Certainty::Possible, all.len()),
        n => (Certainty::Certain, n),
    };
    let chains = Value::Count(u64::try_from(count).unwrap_or(u64::MAX), "chain");
    let summary = if certainty == Certainty::Certain {
        fact!("the file sets {chains} further from a radio's centre than any radio reaches", chains)
    } else {
        fact!(
            "the file sets {chains} further from a radio's centre than older radios reach",
            chains
        )
    };
    let remedy = fact!(
        "move the centres of the radios (freq) so that each chain is within 400 kHz of its own, and set \
         the offsets (if) again"
    );
    let mut finding = Finding::new(certainty, summary, remedy);
    for reach in all {
        finding.add(reach.fact());
    }
    Some(finding)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::roster::gateway_config::{ChainName, FilePlace};

    fn channel(offset_hz: i32, bandwidth_khz: u16) -> Channel {
        Channel {
            chain: ChainName::MultiRate(0),
            hz: None,
            offset_hz: Some(offset_hz),
            centre_hz: Some(904_100_000),
            bandwidth_khz: Some(bandwidth_khz),
            reception: Reception::On,
            place: Some(FilePlace { file: "gateway.json".into(), line: 1 }),
        }
    }

    #[test]
    fn on_the_limit_a_radio_reaches_and_beyond_it_does_not() {
        let certain =
            |offset, bandwidth| one(&channel(offset, bandwidth)).map(|reach| reach.certain);
        for (bandwidth, older, newer) in
            [(125, 400_000, 737_500), (250, 375_000, 675_000), (500, 300_000, 550_000)]
        {
            for sign in [-1, 1] {
                assert_eq!(certain(sign * older, bandwidth), None);
                assert_eq!(certain(sign * (older + 1), bandwidth), Some(false));
                assert_eq!(certain(sign * newer, bandwidth), Some(false));
                assert_eq!(certain(sign * (newer + 1), bandwidth), Some(true));
            }
        }
        let off = Channel { reception: Reception::Unknown, ..channel(900_000, 125) };
        assert!(of(&[off]).is_empty());
    }
}
