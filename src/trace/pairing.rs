//! What answers what: a Join-Accept the request before it, a gateway's word the order to send.

use std::{cmp::Reverse, collections::VecDeque};

use super::{Delay, Sending, Transmission};
use crate::{id::Eui64, intake::When};

/// An accept is looked for among requests this recent.
const ANSWER_US: i64 = 20_000_000;
/// Slots this far after a request can still be meant for it.
const ANSWER_SLOT_US: u32 = 16_000_000;
/// Requests remembered for the pairing of accepts.
pub(super) const OPEN_REQUESTS: usize = 1_024;
/// Downlinks that wait for their gateway's word.
const OPEN_ORDERS: usize = 4_096;

/// How long after a request an accept is aimed, and how well that suits; `None` if not at all.
pub(super) fn delay_of(heard: &Transmission, sending: &Sending) -> Option<(Delay, u8)> {
    let first = heard.first();
    if sending.arrival_after(first).is_some_and(|us| !(0..=ANSWER_US).contains(&us)) {
        return None;
    }
    by_slot(heard, sending)
}

/// The same by the slot alone, whatever the clock of the capture says.
pub(super) fn by_slot(heard: &Transmission, sending: &Sending) -> Option<(Delay, u8)> {
    let first = heard.first();
    if sending.when == When::Immediate {
        let us = sending.arrival_after(first);
        return Some((Delay::AtOnce { us }, 1));
    }
    let counted = heard.sightings().enumerate().filter_map(|(sighting, seen)| {
        let us = sending.slot_after(seen)?;
        let fit = match us {
            4_999_000..=5_001_000 | 5_999_000..=6_001_000 => WINDOW,
            999_000..=1_001_000 | 1_999_000..=2_001_000 => 3,
            0..=ANSWER_SLOT_US => 2,
            _ => 0,
        };
        // Two sightings of one gateway: the exact one is meant.
        let exact = us % 1_000_000 == 0;
        Some((fit, exact, Reverse(sighting), Delay::Counter { us, sighting }))
    });
    let by_gps = heard.sightings().enumerate().find_map(|(sighting, seen)| {
        let ms = sending.gps_after(seen)?;
        let fit = match ms {
            4_999..=5_001 | 5_999..=6_001 => WINDOW,
            999..=1_001 | 1_999..=2_001 => 3,
            // GPS time and UTC differ by leap seconds, and some mistake one for the other.
            -30_000..=30_000 => 2,
            _ => return None,
        };
        Some((Delay::Gps { ms, sighting }, fit))
    });
    if by_gps.is_some() {
        return by_gps;
    }
    match counted.max_by_key(|(fit, exact, order, _)| (*fit, *exact, *order)) {
        // A slot that no window explains still answers by time, if times are known.
        Some((fit, .., delay)) if fit > 0 || sending.arrival_after(first).is_some() => {
            Some((delay, fit))
        }
        Some(_) => None,
        None => Some((Delay::Unknown, 1)),
    }
}

/// How well a slot fits that is a window of a join.
pub(super) const WINDOW: u8 = 4;

/// Requests that a Join-Accept may answer, of whoever asked.
#[derive(Clone, Debug)]
pub(crate) struct Requests<T> {
    asked: VecDeque<(T, Transmission)>,
}

impl<T> Default for Requests<T> {
    fn default() -> Self {
        Self { asked: VecDeque::new() }
    }
}

impl<T> Requests<T> {
    /// Remembers a request; the oldest makes room.
    pub(crate) fn push(&mut self, who: T, heard: Transmission) {
        self.asked.push_back((who, heard));
        if self.asked.len() > OPEN_REQUESTS {
            self.asked.pop_front();
        }
    }

    /// Returns who may be answered, with how well the answer fits: the best first, and of those that fit alike
    /// the newest.
    pub(crate) fn answered_by(&self, sending: &Sending) -> Vec<(u8, &T)> {
        let fitting = self.asked.iter().rev().filter_map(|(who, heard)| {
            let (_, fit) = delay_of(heard, sending)?;
            Some((fit, who))
        });
        let mut fitting: Vec<_> = fitting.collect();
        fitting.sort_by_key(|(fit, _)| Reverse(*fit));
        fitting
    }
}

/// By what a gateway's word finds its order: the gateway, the token of the datagram, or the number of the order.
pub(crate) type OrderKey = (Option<Eui64>, Option<u16>, Option<u32>);

/// Whether a gateway's word is of an order: without token and number of the last one.
pub(crate) fn is_of(word: OrderKey, order: OrderKey) -> bool {
    let (gateway, token, number) = word;
    gateway == order.0 && ((token, number) == (order.1, order.2) || (token, number) == (None, None))
}

/// Orders to send of which their gateways may still say something.
#[derive(Clone, Debug)]
pub(crate) struct OpenOrders<T> {
    open: VecDeque<(OrderKey, T)>,
}

impl<T> Default for OpenOrders<T> {
    fn default() -> Self {
        Self { open: VecDeque::new() }
    }
}

impl<T> OpenOrders<T> {
    /// Remembers an order; the oldest makes room.
    pub(crate) fn push(&mut self, key: OrderKey, order: T) {
        self.open.push_back((key, order));
        if self.open.len() > OPEN_ORDERS {
            self.open.pop_front();
        }
    }

    /// Returns the newest order.
    pub(crate) fn newest(&self) -> Option<&T> {
        self.open.back().map(|(_, order)| order)
    }

    /// Takes out the newest order that a gateway's word is of.
    pub(crate) fn take(&mut self, word: OrderKey) -> Option<T> {
        let at = self.open.iter().rposition(|(key, _)| is_of(word, *key))?;
        self.open.remove(at).map(|(_, order)| order)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        intake::{Heard, Ordered, Position},
        trace::{Line, Sighting},
    };

    fn heard(at_us: i64, tmst: u32) -> Transmission {
        let time = jiff::Timestamp::from_microsecond(at_us).ok();
        let line = Line { order: 0, place: Position::line(1) };
        let heard = Heard { tmst: Some(tmst), ..Heard::new(&[0; 23]) };
        Transmission::new([0; 23], Sighting::new(line, time, None, &heard))
    }

    fn sending(at_us: i64, slot: u32) -> Sending {
        let time = jiff::Timestamp::from_microsecond(at_us).ok();
        let ordered = Ordered { when: When::Counter(slot), ..Ordered::new(&[0x20; 17]) };
        Sending::new(Line { order: 1, place: Position::line(2) }, time, None, None, &ordered)
    }

    #[test]
    fn the_request_whose_window_a_slot_is_comes_before_newer_ones() {
        let mut requests = Requests::default();
        requests.push('a', heard(0, 1_000));
        requests.push('b', heard(2_000_000, 2_001_000));
        let who = |sending| requests.answered_by(&sending).into_iter().map(|(_, who)| *who).next();
        assert_eq!(who(sending(2_200_000, 5_001_000)), Some('a'));
        assert_eq!(who(sending(2_200_000, 7_001_000)), Some('b'));
        assert_eq!(who(sending(2_200_000, 7_600_000)), Some('b'));
        // From 20 s on it answers neither.
        assert_eq!(who(sending(22_000_000, 7_001_000)), Some('b'));
        assert_eq!(who(sending(22_000_001, 7_001_000)), None);
    }

    #[test]
    fn of_requests_that_an_accept_fits_alike_the_newest_comes_first() {
        let mut requests = Requests::default();
        requests.push('a', heard(0, 1_000));
        requests.push('b', heard(1_000_000, 1_001_000));
        // The slot is the second window of the older and the first of the newer.
        let who =
            |sending| requests.answered_by(&sending).into_iter().map(|(_, who)| *who).collect();
        let both: Vec<char> = who(sending(1_200_000, 6_001_000));
        assert_eq!(both, ['b', 'a']);
        // A slot that is a window of neither, by time alone.
        let neither: Vec<char> = who(sending(1_200_000, 9_555_000));
        assert_eq!(neither, ['b', 'a']);
    }

    #[test]
    fn memory_is_bounded() {
        let (mut requests, mut orders) = (Requests::default(), OpenOrders::default());
        for n in 0..5_000_u32 {
            requests.push(n, heard(0, n));
            orders.push((None, None, Some(n)), n);
        }
        assert_eq!(requests.asked.len(), OPEN_REQUESTS);
        assert_eq!(orders.open.len(), OPEN_ORDERS);
        assert_eq!(orders.take((None, None, Some(4_998))), Some(4_998));
        assert_eq!(orders.take((None, None, Some(4_998))), None);
        assert_eq!(orders.take((None, None, None)), Some(4_999));
    }
}
