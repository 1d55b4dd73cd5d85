//! Datagrams that come back: a relay that leads to itself, by whatever way.

use std::{
    collections::{HashMap, VecDeque, hash_map::RandomState},
    hash::BuildHasher as _,
    net::SocketAddr,
    time::{Duration, Instant},
};

/// What was handed on lately, and for whom.
#[derive(Debug, Default)]
pub(super) struct Echo {
    hasher: RandomState,
    order: VecDeque<(u64, Instant)>,
    from: HashMap<u64, SocketAddr>,
}

impl Echo {
    /// Returns whether these very bytes were handed on a moment ago for another address: a datagram names its
    /// gateway and has a token, so that no two gateways send the same.
    pub(super) fn returns(&mut self, octets: &[u8], peer: SocketAddr, now: Instant) -> bool {
        while let Some((hash, at)) = self.order.front()
            && (now.duration_since(*at) > WINDOW || self.order.len() >= MOST)
        {
            self.from.remove(hash);
            self.order.pop_front();
        }
        let hash = self.hasher.hash_one(octets);
        if let Some(first) = self.from.get(&hash) {
            return *first != peer;
        }
        self.from.insert(hash, peer);
        self.order.push_back((hash, now));
        false
    }
}

/// A way around takes milliseconds, and over the Internet less than this. A gateway whose address changes
/// says the same again only later.
const WINDOW: Duration = Duration::from_secs(2);
/// Datagrams that are remembered: what 40,000 a second bring in a fifth of one.
const MOST: usize = 8_192;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_the_same_bytes_from_elsewhere_and_soon_come_back() {
        let (begun, mut echo) = (Instant::now(), Echo::default());
        let peer = |port| SocketAddr::from(([192, 0, 2, 1], port));
        assert!(!echo.returns(b"one", peer(1), begun));
        assert!(!echo.returns(b"one", peer(1), begun), "a gateway may say it again");
        assert!(echo.returns(b"one", peer(2), begun + WINDOW));
        assert!(!echo.returns(b"two", peer(2), begun));
        assert!(!echo.returns(b"one", peer(2), begun + WINDOW + Duration::from_millis(1)));
    }

    #[test]
    fn it_remembers_so_many_and_no_more() {
        let (begun, mut echo) = (Instant::now(), Echo::default());
        let peer = SocketAddr::from(([192, 0, 2, 1], 1));
        for number in 0..3 * MOST {
            echo.returns(&number.to_be_bytes(), peer, begun);
        }
        assert!(echo.order.len() <= MOST && echo.from.len() == echo.order.len());
    }
}
