//! The addresses that gateways send from: who is admitted, and who makes room.
//!
//! Nothing proves who sends a datagram. So an address that was heard for a while is never forgotten for one
//! that was not, and one IP address brings new ones only so fast: a flood from ports that somebody
//! makes up costs those ports, and no gateway.

use std::{
    collections::HashMap,
    net::{IpAddr, SocketAddr},
    time::{Duration, Instant},
};

use super::recent::Recent;

#[derive(Debug)]
pub(super) struct Sources<V> {
    /// Heard for less than [`AGE`], or not often.
    young: Recent<SocketAddr, Row<V>>,
    known: Recent<SocketAddr, Row<V>>,
    known_of: HashMap<IpAddr, usize>,
    /// How fast each IP address brings new ones, and how fast all of them together do.
    arrivals: Recent<IpAddr, Bucket>,
    all: Bucket,
    room: usize,
}

#[derive(Debug)]
struct Row<V> {
    value: V,
    since: Instant,
    last: Instant,
    heard: u32,
}

impl<V> Sources<V> {
    /// Returns an empty table for so many addresses.
    pub(super) fn new(room: usize, now: Instant) -> Self {
        let room = room.max(4);
        Self {
            young: Recent::new(room),
            known: Recent::new(room),
            known_of: HashMap::new(),
            arrivals: Recent::new(MOST_IPS),
            all: Bucket::full(now, ALL),
            room,
        }
    }

    /// Gives up what room is left: from now on, who comes takes another's.
    pub(super) fn close(&mut self) {
        self.room = (self.young.len() + self.known.len()).max(4);
    }

    pub(super) fn get(&self, peer: &SocketAddr) -> Option<&V> {
        self.known.get(peer).or_else(|| self.young.get(peer)).map(|row| &row.value)
    }

    pub(super) fn get_mut(&mut self, peer: &SocketAddr) -> Option<&mut V> {
        let known = self.known.get_mut(peer);
        known.or_else(|| self.young.get_mut(peer)).map(|row| &mut row.value)
    }

    /// Returns what is known of an address, which is heard now.
    pub(super) fn meet(&mut self, peer: &SocketAddr, now: Instant) -> Option<&mut V> {
        let mut row = match self.known.meet(peer) {
            Some(row) => Some(row),
            None => self.young.meet(peer),
        };
        if let Some(row) = &mut row {
            (row.last, row.heard) = (now, row.heard.saturating_add(1));
        }
        if self.is_of_age(peer, now) {
            self.promote(peer);
        }
        self.get_mut(peer)
    }

    fn is_of_age(&self, peer: &SocketAddr, now: Instant) -> bool {
        let of_one = self.known_of.get(&peer.ip()).copied().unwrap_or_default();
        self.young.get(peer).is_some_and(|row| {
            row.heard >= HEARD && now.duration_since(row.since) >= AGE
        }) && self.known.len() < self.room / 4 * 3
            // One address that brings thousands of ports leaves room for others.
            && of_one < self.room / 2
    }

    fn promote(&mut self, peer: &SocketAddr) {
        if let Some(row) = self.young.remove(peer) {
            *self.known_of.entry(peer.ip()).or_default() += 1;
            self.known.add(*peer, row);
        }
    }

    /// Admits an address; gives back the one that made room.
    ///
    /// # Errors
    /// Gives the value back where too many come at once, or nobody can make room.
    pub(super) fn admit(
        &mut self,
        peer: SocketAddr,
        value: V,
        now: Instant,
    ) -> Result<Option<(SocketAddr, V)>, V> {
        if self.arrivals.meet(&peer.ip()).is_none() {
            self.arrivals.add(peer.ip(), Bucket::full(now, ONE));
        }
        let one = self.arrivals.get_mut(&peer.ip()).is_none_or(|bucket| bucket.take(now, ONE));
        if !one || !self.all.take(now, ALL) {
            return Err(value);
        }
        let mut forgotten = None;
        if self.young.len() + self.known.len() >= self.room {
            forgotten = self.forget_oldest(now);
            if forgotten.is_none() {
                return Err(value);
            }
        }
        self.young.add(peer, Row { value, since: now, last: now, heard: 1 });
        Ok(forgotten)
    }

    /// Forgets the youngest table's oldest row, else one that was known and is silent for long.
    pub(super) fn forget_oldest(&mut self, now: Instant) -> Option<(SocketAddr, V)> {
        let young = self.young.forget_oldest().map(|(peer, row)| (peer, row.value));
        young.or_else(|| {
            let (_, oldest) = self.known.oldest()?;
            if now.duration_since(oldest.last) < SILENT {
                return None;
            }
            let (peer, row) = self.known.forget_oldest()?;
            if let Some(count) = self.known_of.get_mut(&peer.ip()) {
                *count -= 1;
                if *count == 0 {
                    self.known_of.remove(&peer.ip());
                }
            }
            Some((peer, row.value))
        })
    }
}

/// What may come at once, and how much comes back each second.
#[derive(Clone, Copy, Debug)]
struct Rate {
    burst: f64,
    a_second: f64,
}

#[derive(Debug)]
struct Bucket {
    left: f64,
    at: Instant,
}

impl Bucket {
    const fn full(now: Instant, rate: Rate) -> Self {
        Self { left: rate.burst, at: now }
    }

    fn take(&mut self, now: Instant, rate: Rate) -> bool {
        let passed = now.duration_since(self.at).as_secs_f64();
        (self.left, self.at) = ((self.left + passed * rate.a_second).min(rate.burst), now);
        if self.left < 1.0 {
            return false;
        }
        self.left -= 1.0;
        true
    }
}

/// New addresses of one IP address: behind one there may be a site of a thousand gateways, which all begin
/// again after a power cut.
const ONE: Rate = Rate { burst: 2_000.0, a_second: 50.0 };
/// New addresses of all: each costs a socket towards the server.
const ALL: Rate = Rate { burst: 4_000.0, a_second: 500.0 };
/// A gateway asks for downlinks every ten seconds (common practice): after three datagrams and so long it is known.
const HEARD: u32 = 3;
const AGE: Duration = Duration::from_secs(10);
/// Gateways that say nothing for so long may be forgotten: asked for downlinks is every minute at the least.
const SILENT: Duration = Duration::from_secs(300);
/// IP addresses whose rate is known.
const MOST_IPS: usize = 4_096;

#[cfg(test)]
mod tests {
    use super::*;

    fn peer(port: u16) -> SocketAddr {
        SocketAddr::from(([192, 0, 2, 1], port))
    }

    #[test]
    fn a_flood_of_made_up_ports_forgets_no_gateway_that_was_heard_for_a_while() {
        let begun = Instant::now();
        let mut sources = Sources::new(64, begun);
        assert!(sources.admit(peer(1), 'g', begun).is_ok());
        for second in [5, 10] {
            assert!(sources.meet(&peer(1), begun + Duration::from_secs(second)).is_some());
        }
        let now = begun + Duration::from_secs(11);
        let mut refused = 0;
        for port in 100..10_100 {
            refused += usize::from(sources.admit(peer(port), 'x', now).is_err());
        }
        assert_eq!(refused, 10_000 - 2_000, "one address brings no more");
        assert_eq!(sources.get(&peer(1)), Some(&'g'));
        assert_eq!(sources.young.len() + sources.known.len(), 64);
    }

    #[test]
    fn a_gateway_is_known_from_its_third_datagram_and_tenth_second_on() {
        let begun = Instant::now();
        let at = |ms| begun + Duration::from_millis(ms);
        for (times, known) in [([5_000, 9_999], 0), ([5_000, 10_000], 1), ([10_000, 10_000], 1)] {
            let mut sources = Sources::new(64, begun);
            assert!(sources.admit(peer(1), (), begun).is_ok());
            for ms in times {
                sources.meet(&peer(1), at(ms));
            }
            assert_eq!(sources.known.len(), known, "{times:?}");
        }
    }

    #[test]
    fn a_known_gateway_makes_room_only_after_long_silence() {
        let begun = Instant::now();
        let at = |seconds| begun + Duration::from_secs(seconds);
        let mut sources = Sources::new(4, begun);
        for port in 1..=3 {
            assert!(sources.admit(SocketAddr::from(([192, 0, 2, port], 1)), port, begun).is_ok());
        }
        for _ in 0..2 {
            for port in 1..=3 {
                sources.meet(&SocketAddr::from(([192, 0, 2, port], 1)), at(10));
            }
        }
        assert_eq!(sources.known.len(), 3);
        assert!(sources.forget_oldest(at(309)).is_none());
        assert_eq!(sources.forget_oldest(at(310)).map(|(_, port)| port), Some(1));
    }
}
