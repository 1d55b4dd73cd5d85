//! Events that are in several captures: recorded at both ends of the line, or a file given twice.

use std::{
    collections::{HashMap, VecDeque},
    mem::{Discriminant, discriminant},
};

use jiff::{SignedDuration, Timestamp};

use crate::{
    id::Eui64,
    intake::{Event, What},
};

/// The last events, where there are several captures.
#[derive(Clone, Debug, Default)]
pub(super) struct Recorded {
    first: Option<u16>,
    several: bool,
    by_token: HashMap<Key, VecDeque<Known>>,
    /// The keys of all that is remembered, in order.
    order: VecDeque<Key>,
}

/// An event, and the captures that have it.
#[derive(Clone, Debug)]
struct Known {
    sources: Vec<u16>,
    event: Event,
}

type Key = (Discriminant<What>, Option<Eui64>, Option<u16>);

fn key(event: &Event) -> Key {
    (discriminant(&event.what), event.gateway, event.wire.token)
}

impl Recorded {
    /// Learns that there is a capture.
    pub(super) fn comes_from(&mut self, source: u16) {
        self.several |= *self.first.get_or_insert(source) != source;
    }

    /// Returns whether another capture has the same event; if none has, it is remembered.
    pub(super) fn knows(&mut self, event: &Event) -> bool {
        if !self.several {
            return false;
        }
        let (key, source) = (key(event), event.place.source);
        let near = self.by_token.get_mut(&key).into_iter().flatten();
        // What one capture has twice was twice.
        let mut near = near.filter(|known| !known.sources.contains(&source));
        if let Some(known) = near.find(|known| is_same(&known.event, event)) {
            known.sources.push(source);
            return true;
        }
        self.keep(key, event);
        false
    }

    fn keep(&mut self, key: Key, event: &Event) {
        if event.time.is_none() {
            return;
        }
        let known = Known { sources: vec![event.place.source], event: event.clone() };
        self.by_token.entry(key).or_default().push_back(known);
        self.order.push_back(key);
        if self.order.len() > REMEMBERED
            && let Some(oldest) = self.order.pop_front()
            && let Some(near) = self.by_token.get_mut(&oldest)
        {
            near.pop_front();
            if near.is_empty() {
                self.by_token.remove(&oldest);
            }
        }
    }
}

fn is_same(a: &Event, b: &Event) -> bool {
    // Two clocks are never quite the same; without a token nothing but the time tells two apart.
    let apart = if a.wire.token.is_some() { TWO_CLOCKS } else { SignedDuration::ZERO };
    let near = |a: Timestamp, b: Timestamp| a.duration_since(b).abs() <= apart;
    a.time.zip(b.time).is_some_and(|(a, b)| near(a, b)) && a.what == b.what
}

/// How far apart the clocks of two recorders may be, and what lies on the line between them.
const TWO_CLOCKS: SignedDuration = SignedDuration::from_secs(2);
/// Events that are remembered: a datagram with a frame is two.
const REMEMBERED: usize = 8_192;
