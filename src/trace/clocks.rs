//! Clocks of several recorders that are not set alike.
//!
//! What gateways hear of one transmission bears the same octets. Where several frames stand in two
//! captures, always as far apart, it is the clocks that are apart: frames that somebody repeats on the
//! air come at times of their own.

use std::collections::{BTreeMap, HashMap};

use jiff::{SignedDuration, Timestamp};

use crate::intake::{Crc, Datagram};

/// How the clock of a capture goes against that of the first one.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct ClockApart {
    /// Which capture, counted from 0.
    pub source: u16,
    /// The capture that it is compared with.
    pub against: u16,
    /// By how much it is ahead; negative where it is behind.
    pub ahead: SignedDuration,
    /// How many frames that both have agree.
    pub frames: usize,
}

/// Returns the captures whose clocks are apart from an earlier one's.
pub(super) fn apart<'a>(
    datagrams: impl Iterator<Item = (u16, &'a Datagram)>,
) -> BTreeMap<u16, ClockApart> {
    // A frame that comes twice in one capture does not tell which of them another has.
    let mut heard: BTreeMap<u16, HashMap<&[u8], Option<Timestamp>>> = BTreeMap::new();
    for (source, datagram) in datagrams {
        let own = heard.entry(source).or_default();
        let Some(at) = datagram.at else { continue };
        for up in datagram.rxpk.iter().filter(|up| up.crc != Crc::Bad) {
            own.entry(&up.octets).and_modify(|known| *known = None).or_insert(Some(at));
        }
    }
    let mut out: BTreeMap<u16, ClockApart> = BTreeMap::new();
    for (&source, own) in &heard {
        let found = heard.range(..source).find_map(|(&against, other)| {
            let (ahead, frames) = agreed(own, other)?;
            // The other one may be apart from a third.
            let more = out.get(&against).map_or(SignedDuration::ZERO, |apart| apart.ahead);
            Some(ClockApart { source, against, ahead: ahead + more, frames })
        });
        out.extend(found.filter(|found| found.ahead.abs() > NEAR).map(|found| (source, found)));
    }
    out
}

/// By how much the times of one are ahead of the other's, where enough frames agree on it.
fn agreed(
    own: &HashMap<&[u8], Option<Timestamp>>,
    other: &HashMap<&[u8], Option<Timestamp>>,
) -> Option<(SignedDuration, usize)> {
    let both = own.iter().filter_map(|(octets, at)| Some(((*at)?, (*other.get(octets)?)?)));
    let mut all: Vec<SignedDuration> = both.map(|(own, other)| own.duration_since(other)).collect();
    all.sort_unstable();
    let middle = *all.get(all.len() / 2)?;
    let frames = all.iter().filter(|ahead| (**ahead - middle).abs() <= NEAR).count();
    (frames >= FEWEST && frames * 5 >= all.len() * 4).then_some((middle, frames))
}

/// Copies of one transmission come within this time where clocks are set alike.
const NEAR: SignedDuration = SignedDuration::from_secs(2);
/// Frames that must agree.
const FEWEST: usize = 3;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::intake::{Kind, Uplink};

    /// A capture that hears frames by their numbers, so many seconds after the first.
    fn capture(heard: &[(u8, i64)]) -> Vec<Datagram> {
        let datagram = |&(number, second): &(u8, i64)| Datagram {
            at: Some(Timestamp::from_second(1_000_000 + second).unwrap()),
            rxpk: vec![Uplink { octets: vec![number; 12], ..Uplink::default() }],
            ..Datagram::new(Kind::PushData)
        };
        heard.iter().map(datagram).collect()
    }

    fn of(captures: &[Vec<Datagram>]) -> Vec<(u16, u16, i64, usize)> {
        let all =
            (0..).zip(captures).flat_map(|(source, all)| all.iter().map(move |d| (source, d)));
        let apart = apart(all).into_values();
        apart.map(|a| (a.source, a.against, a.ahead.as_secs(), a.frames)).collect()
    }

    #[test]
    fn frames_that_are_always_as_far_apart_tell_the_clocks() {
        let first = capture(&[(1, 0), (2, 10), (3, 25), (4, 60)]);
        let hour = capture(&[(1, 3_600), (2, 3_611), (3, 3_625)]);
        let behind = capture(&[(2, -590), (3, -575), (4, -540)]);
        assert_eq!(of(&[first.clone(), hour.clone()]), [(1, 0, 3_600, 3)]);
        assert_eq!(of(&[hour.clone(), first.clone()]), [(1, 0, -3_600, 3)]);
        assert_eq!(of(&[first, hour, behind]), [(1, 0, 3_600, 3), (2, 0, -600, 3)]);
    }

    #[test]
    fn what_is_repeated_at_times_of_its_own_is_no_clock() {
        let first = capture(&[(1, 0), (2, 10), (3, 25), (4, 60)]);
        for other in [
            // as it should be
            capture(&[(1, 0), (2, 11), (3, 25), (4, 60)]),
            // two are no proof
            capture(&[(1, 3_600), (2, 3_610)]),
            // repeated by hand
            capture(&[(1, 3_600), (2, 3_700), (3, 3_640), (4, 4_000)]),
            // repeated again and again
            capture(&[(1, 60), (2, 70), (3, 85), (1, 120), (2, 130), (3, 145)]),
            capture(&[]),
        ] {
            assert_eq!(of(&[first.clone(), other]), []);
        }
    }

    #[test]
    fn a_clock_may_be_known_by_way_of_another() {
        let first = capture(&[(1, 0), (2, 10), (3, 25)]);
        let second = capture(&[(1, 100), (2, 110), (3, 125), (4, 160), (5, 170), (6, 180)]);
        let third = capture(&[(4, 65), (5, 75), (6, 85)]);
        assert_eq!(of(&[first, second, third]), [(1, 0, 100, 3), (2, 1, 5, 3)]);
    }
}
