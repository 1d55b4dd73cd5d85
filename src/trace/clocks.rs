//! Clocks of several recorders that are not set alike.
//!
//! What gateways hear of one transmission bears the same octets. Where several frames stand in two
//! captures, always as far apart, it is the clocks that are apart: frames that somebody repeats on the
//! air come at times of their own.

use std::collections::{BTreeMap, HashMap};

use jiff::{SignedDuration, Timestamp};

use crate::{
    id::Eui64,
    intake::{Crc, Event},
};

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

/// Receptions of one frame in one capture: by whom, its counter, and when.
type Heard = Vec<(Option<Eui64>, Option<u32>, Timestamp)>;

/// Returns the captures whose clocks are apart from an earlier one's.
pub(super) fn apart<'a>(events: impl Iterator<Item = &'a Event>) -> BTreeMap<u16, ClockApart> {
    let mut captures: BTreeMap<u16, HashMap<&[u8], Heard>> = BTreeMap::new();
    for event in events {
        let own = captures.entry(event.place.source).or_default();
        let Some(heard) = event.heard().filter(|heard| heard.crc != Crc::Bad) else { continue };
        let Some(at) = event.time else { continue };
        own.entry(heard.octets()).or_default().push((event.gateway, heard.tmst, at));
    }
    let mut out: BTreeMap<u16, ClockApart> = BTreeMap::new();
    for (&source, own) in &captures {
        let found = captures.range(..source).find_map(|(&against, other)| {
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
///
/// One reception has one counter, whoever records it: where a gateway stands in both captures, its
/// counters tell what is the same reception, and what was on the air again. Of two gateways only the
/// times tell, and a slow line may delay as well: there it takes several frames, and more time than
/// any line has.
fn agreed(
    own: &HashMap<&[u8], Heard>,
    other: &HashMap<&[u8], Heard>,
) -> Option<(SignedDuration, usize)> {
    let (mut same, mut alike) = (Vec::new(), Vec::new());
    let mut again = false;
    for (octets, mine) in own {
        let Some(theirs) = other.get(octets) else { continue };
        for (gateway, tmst, at) in mine {
            for (_, counter, then) in theirs.iter().filter(|(eui, ..)| eui == gateway) {
                match (tmst, counter) {
                    (Some(tmst), Some(counter)) if tmst == counter => {
                        same.push(at.duration_since(*then));
                    }
                    (Some(_), Some(_)) => again = true,
                    _ => {}
                }
            }
        }
        // A frame that comes twice in one capture does not tell which of them another has.
        if let ([(mine, _, at)], [(theirs, _, then)]) = (mine.as_slice(), theirs.as_slice())
            && mine != theirs
        {
            alike.push(at.duration_since(*then));
        }
    }
    if !same.is_empty() {
        return middle(same, 1);
    }
    let slow = |(ahead, _): &(SignedDuration, usize)| ahead.abs() > SLOWEST;
    middle(alike, FEWEST).filter(slow).filter(|_| !again)
}

/// The middle one and how many are near it, where these are enough, and nearly all.
fn middle(mut all: Vec<SignedDuration>, fewest: usize) -> Option<(SignedDuration, usize)> {
    all.sort_unstable();
    let middle = *all.get(all.len() / 2)?;
    let frames = all.iter().filter(|ahead| (**ahead - middle).abs() <= NEAR).count();
    (frames >= fewest && frames * 5 >= all.len() * 4).then_some((middle, frames))
}

/// Copies of one transmission come within this time where clocks are set alike.
const NEAR: SignedDuration = SignedDuration::from_secs(2);
/// Frames that must agree, where no counter does.
const FEWEST: usize = 3;
/// A line from a gateway may take so long.
const SLOWEST: SignedDuration = SignedDuration::from_secs(30);

#[cfg(test)]
mod tests {
    use super::*;
    use crate::intake::{Heard, Position, What};

    /// A gateway's capture, which hears frames by their numbers so many seconds after the first.
    fn capture(gateway: u8, heard: &[(u8, i64)]) -> Vec<Event> {
        let heard: Vec<_> = heard.iter().map(|(number, second)| (*number, *second, None)).collect();
        all(gateway, &heard)
    }

    /// The same with counters.
    fn counted(gateway: u8, heard: &[(u8, i64, u32)]) -> Vec<Event> {
        let heard: Vec<_> =
            heard.iter().map(|(n, second, tmst)| (*n, *second, Some(*tmst))).collect();
        all(gateway, &heard)
    }

    fn all(gateway: u8, heard: &[(u8, i64, Option<u32>)]) -> Vec<Event> {
        let event = |&(number, second, tmst): &(u8, i64, Option<u32>)| {
            let heard = Heard { tmst, ..Heard::new(&[number; 12]) };
            Event {
                time: Some(Timestamp::from_second(1_000_000 + second).unwrap()),
                gateway: Some(Eui64::new([gateway; 8])),
                ..Event::new(Position::default(), What::Heard(Box::new(heard)))
            }
        };
        heard.iter().map(event).collect()
    }

    fn of(captures: &[Vec<Event>]) -> Vec<(u16, u16, i64, usize)> {
        let of = |(source, all): (u16, &Vec<Event>)| {
            let event = |event: &Event| Event {
                place: Position { source, ..event.place },
                ..event.clone()
            };
            all.iter().map(event).collect::<Vec<_>>()
        };
        let all: Vec<Event> = (0..).zip(captures).flat_map(of).collect();
        let apart = apart(all.iter()).into_values();
        apart.map(|a| (a.source, a.against, a.ahead.as_secs(), a.frames)).collect()
    }

    #[test]
    fn frames_that_are_always_as_far_apart_tell_the_clocks() {
        let first = capture(1, &[(1, 0), (2, 10), (3, 25), (4, 60)]);
        let hour = capture(2, &[(1, 3_600), (2, 3_611), (3, 3_625)]);
        let behind = capture(3, &[(2, -590), (3, -575), (4, -540)]);
        assert_eq!(of(&[first.clone(), hour.clone()]), [(1, 0, 3_600, 3)]);
        assert_eq!(of(&[hour.clone(), first.clone()]), [(1, 0, -3_600, 3)]);
        assert_eq!(of(&[first, hour, behind]), [(1, 0, 3_600, 3), (2, 0, -600, 3)]);
    }

    #[test]
    fn one_reception_recorded_twice_tells_the_clocks_by_its_counter() {
        let first = counted(1, &[(1, 0, 5), (2, 10, 15)]);
        assert_eq!(of(&[first.clone(), counted(1, &[(1, 3, 5)])]), [(1, 0, 3, 1)]);
        // The same octets at another counter were on the air again, however regularly.
        let again: Vec<_> = (1..=4).map(|n| (n, 86_400 + i64::from(n), u32::from(n))).collect();
        let monday: Vec<_> = (1..=4).map(|n| (n, i64::from(n), 1_000 + u32::from(n))).collect();
        assert_eq!(of(&[counted(1, &monday), counted(1, &again)]), []);
    }

    #[test]
    fn what_is_repeated_at_times_of_its_own_is_no_clock() {
        let first = capture(1, &[(1, 0), (2, 10), (3, 25), (4, 60)]);
        for other in [
            // as it should be
            capture(2, &[(1, 0), (2, 11), (3, 25), (4, 60)]),
            // two are no proof
            capture(2, &[(1, 3_600), (2, 3_610)]),
            // a slow line
            capture(2, &[(1, 20), (2, 30), (3, 45), (4, 80)]),
            // repeated by hand
            capture(2, &[(1, 3_600), (2, 3_700), (3, 3_640), (4, 4_000)]),
            // repeated again and again
            capture(2, &[(1, 60), (2, 70), (3, 85), (1, 120), (2, 130), (3, 145)]),
            // through the same gateway, which tells no counter
            capture(1, &[(1, 3_600), (2, 3_610), (3, 3_625), (4, 3_660)]),
            capture(2, &[]),
        ] {
            assert_eq!(of(&[first.clone(), other]), []);
        }
    }

    #[test]
    fn a_clock_may_be_known_by_way_of_another() {
        let first = counted(1, &[(1, 0, 1), (2, 10, 2)]);
        let second = counted(1, &[(1, 100, 1), (2, 110, 2), (3, 200, 3)]);
        let third = counted(1, &[(3, 205, 3)]);
        assert_eq!(of(&[first, second, third]), [(1, 0, 100, 2), (2, 1, 105, 1)]);
    }
}
