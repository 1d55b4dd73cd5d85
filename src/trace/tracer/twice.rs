//! Datagrams that stand in several captures: recorded at both ends of the line, or a file given twice.

use std::collections::{HashMap, VecDeque};

use jiff::{SignedDuration, Timestamp};

use crate::{
    id::Eui64,
    intake::{Datagram, Kind},
};

/// The last datagrams, where there are several captures.
#[derive(Clone, Debug, Default)]
pub(super) struct Recorded {
    first: Option<u16>,
    several: bool,
    by_token: HashMap<Key, VecDeque<Known>>,
    /// The keys of all that is remembered, in order.
    order: VecDeque<Key>,
}

/// A datagram, and the captures that have it.
#[derive(Clone, Debug)]
struct Known {
    sources: Vec<u16>,
    datagram: Box<Datagram>,
}

type Key = (Kind, Option<Eui64>, Option<u16>);

const fn key(datagram: &Datagram) -> Key {
    (datagram.kind, datagram.gateway, datagram.token)
}

impl Recorded {
    /// Learns that there is a capture.
    pub(super) fn comes_from(&mut self, source: u16) {
        self.several |= *self.first.get_or_insert(source) != source;
    }

    /// Returns whether another capture has the same datagram.
    pub(super) fn knows(&mut self, source: u16, datagram: &Datagram) -> bool {
        if !self.several {
            return false;
        }
        let Some(near) = self.by_token.get_mut(&key(datagram)) else { return false };
        // What one capture has twice was twice.
        let mut near = near.iter_mut().filter(|known| !known.sources.contains(&source));
        let same = near.find(|known| is_same(&known.datagram, datagram));
        same.map(|known| known.sources.push(source)).is_some()
    }

    /// Remembers a datagram.
    pub(super) fn keep(&mut self, source: u16, datagram: Box<Datagram>) {
        if !self.several || datagram.at.is_none() {
            return;
        }
        let key = key(&datagram);
        let known = Known { sources: vec![source], datagram };
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

fn is_same(a: &Datagram, b: &Datagram) -> bool {
    // Two clocks are never quite the same; without a token nothing but the time tells two apart.
    let apart = if a.token.is_some() { TWO_CLOCKS } else { SignedDuration::ZERO };
    let near = |a: Timestamp, b: Timestamp| a.duration_since(b).abs() <= apart;
    a.at.zip(b.at).is_some_and(|(a, b)| near(a, b))
        && a.rxpk == b.rxpk
        && a.txpk == b.txpk
        && a.ack == b.ack
        && a.stat == b.stat
        && a.plan == b.plan
}

/// How far apart the clocks of two recorders may be, and what lies on the line between them.
const TWO_CLOCKS: SignedDuration = SignedDuration::from_secs(2);
/// Datagrams that are remembered.
const REMEMBERED: usize = 4_096;
