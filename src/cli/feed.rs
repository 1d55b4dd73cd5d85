//! Captures read on a thread of their own: while one item is judged the next ones are parsed.

use std::{
    collections::VecDeque,
    io::{self, Read},
    sync::{
        Arc, Condvar, Mutex, MutexGuard, PoisonError,
        atomic::{AtomicU64, Ordering},
    },
    thread,
    time::Duration,
};

use jiff::Timestamp;

use super::signals;
use crate::intake::{Capture, CaptureOptions, Item};

/// Items parsed ahead.
const AHEAD: usize = 4_096;
/// How long a signal may wait to be noticed.
const LOOK: Duration = Duration::from_millis(50);
/// A wait that nobody notices.
const GATHERING: Duration = Duration::from_micros(100);

/// What a capture gave.
#[derive(Debug)]
pub(super) struct Fed {
    /// The number of the capture among those opened, from 0.
    pub(super) source: u16,
    /// The item; an error ends its capture.
    pub(super) item: io::Result<Item>,
}

/// Items of one or several captures, those of several in the order of their times.
#[derive(Debug)]
pub(super) struct Feed {
    shared: Arc<Shared>,
    at_hand: VecDeque<Fed>,
    octets: Arc<AtomicU64>,
}

#[derive(Debug, Default)]
struct Shared {
    state: Mutex<State>,
    filled: Condvar,
    drained: Condvar,
}

#[derive(Debug, Default)]
struct State {
    items: VecDeque<Fed>,
    /// The captures have ended.
    ended: bool,
    /// Somebody waits for an item.
    waited_for: bool,
    /// Nobody takes any more.
    left: bool,
}

impl Shared {
    fn lock(&self) -> MutexGuard<'_, State> {
        // A thread that panicked holds no half-changed state: items are moved whole.
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Hands an item over; says whether more are wanted.
    fn give(&self, fed: Fed) -> bool {
        let mut state = self.lock();
        while state.items.len() >= AHEAD && !state.left {
            state = self.drained.wait(state).unwrap_or_else(PoisonError::into_inner);
        }
        state.items.push_back(fed);
        let (wanted, waited_for) = (!state.left, std::mem::take(&mut state.waited_for));
        drop(state);
        if waited_for {
            self.filled.notify_one();
        }
        wanted
    }

    fn end(&self) {
        self.lock().ended = true;
        self.filled.notify_one();
    }
}

impl Feed {
    /// Begins to read; the number in the options is that of the first capture.
    pub(super) fn new(streams: Vec<Box<dyn Read + Send>>, options: CaptureOptions) -> Self {
        let shared = Arc::new(Shared::default());
        let octets = Arc::new(AtomicU64::new(0));
        let heads = (options.source..).zip(streams).map(|(source, stream)| {
            let counted = Counted { stream, octets: Arc::clone(&octets) };
            let capture = Capture::open(counted, CaptureOptions { source, ..options });
            Head { source, capture, next: None, at: None }
        });
        let heads: Vec<Head> = heads.collect();
        let giver = Arc::clone(&shared);
        thread::spawn(move || {
            merge(heads, &giver);
            giver.end();
        });
        Self { shared, at_hand: VecDeque::new(), octets }
    }

    /// Returns how many bytes of the streams were read so far.
    pub(super) fn octets(&self) -> u64 {
        self.octets.load(Ordering::Relaxed)
    }

    /// Returns whether the next item would have to be waited for.
    pub(super) fn is_idle(&mut self) -> bool {
        if self.at_hand.is_empty() {
            self.refill(false);
        }
        self.at_hand.is_empty()
    }

    /// Returns the time of the next item at hand, where it has one.
    pub(super) fn next_at(&self) -> Option<Timestamp> {
        match &self.at_hand.front()?.item {
            Ok(Item::Event(event)) => event.time,
            _ => None,
        }
    }

    /// Returns whether its captures have ended and all items were taken.
    pub(super) fn is_over(&mut self) -> bool {
        let ended = self.shared.lock().ended;
        ended && self.is_idle()
    }

    fn refill(&mut self, wait: bool) {
        let mut state = self.shared.lock();
        if wait && state.items.is_empty() && !state.ended {
            // Where items flow, let some gather: to be woken for each costs more than the item.
            drop(state);
            thread::sleep(GATHERING);
            state = self.shared.lock();
        }
        while wait && state.items.is_empty() && !state.ended {
            if signals::is_stopped() {
                return;
            }
            state.waited_for = true;
            let waited = self.shared.filled.wait_timeout(state, LOOK);
            (state, _) = waited.unwrap_or_else(PoisonError::into_inner);
        }
        std::mem::swap(&mut self.at_hand, &mut state.items);
        drop(state);
        self.shared.drained.notify_one();
    }
}

impl Iterator for Feed {
    type Item = Fed;

    fn next(&mut self) -> Option<Fed> {
        if signals::is_stopped() {
            return None;
        }
        if self.at_hand.is_empty() {
            self.refill(true);
        }
        self.at_hand.pop_front()
    }
}

impl Drop for Feed {
    fn drop(&mut self) {
        self.shared.lock().left = true;
        self.shared.drained.notify_one();
    }
}

/// A capture and its next item.
struct Head {
    source: u16,
    capture: Capture<'static>,
    next: Option<io::Result<Item>>,
    /// The time of the next item, or else of the one before.
    at: Option<Timestamp>,
}

impl Head {
    fn advance(&mut self) {
        self.next = self.capture.next();
        if let Some(Ok(Item::Event(event))) = &self.next {
            self.at = event.time.or(self.at);
        }
    }
}

/// Hands on all items: of several captures always the one with the earliest time.
fn merge(mut heads: Vec<Head>, giver: &Shared) {
    heads.iter_mut().for_each(Head::advance);
    heads.retain(|head| head.next.is_some());
    loop {
        let earliest = heads.iter_mut().enumerate().min_by_key(|(_, head)| (head.at, head.source));
        let Some((place, head)) = earliest else { return };
        if let Some(item) = head.next.take()
            && !giver.give(Fed { source: head.source, item })
        {
            return;
        }
        head.advance();
        if head.next.is_none() {
            heads.remove(place);
        }
    }
}

/// Counts what is read.
struct Counted {
    stream: Box<dyn Read + Send>,
    octets: Arc<AtomicU64>,
}

impl Read for Counted {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        let n = self.stream.read(into)?;
        self.octets.fetch_add(u64::try_from(n).unwrap_or_default(), Ordering::Relaxed);
        Ok(n)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(second: u32) -> String {
        format!("{{\"at\":\"2026-03-02T08:00:{second:02}Z\",\"kind\":\"PULL_ACK\"}}\n")
    }

    fn order(captures: &[String]) -> Vec<(u16, u64)> {
        let streams = captures.iter().map(|text| {
            let stream: Box<dyn Read + Send> = Box::new(io::Cursor::new(text.clone()));
            stream
        });
        let feed = Feed::new(streams.collect(), CaptureOptions::default());
        feed.filter_map(|fed| match fed.item.unwrap() {
            Item::Event(event) => Some((event.place.source, event.place.number)),
            Item::PassedOver(_) => None,
        })
        .collect()
    }

    #[test]
    fn captures_are_merged_by_time_and_lines_without_one_stay_behind_their_own() {
        let untimed = "{\"kind\":\"PULL_ACK\"}\n";
        let one = line(1) + untimed + &line(5);
        let two = line(0) + &line(3) + untimed + &line(9);
        let merged = order(&[one, two]);
        assert_eq!(merged, [(1, 1), (0, 1), (0, 2), (1, 2), (1, 3), (0, 3), (1, 4)]);
    }

    #[test]
    fn a_capture_longer_than_what_is_parsed_ahead_comes_whole() {
        let text = line(1).repeat(3 * AHEAD);
        let places = order(&[text]);
        assert_eq!(places.len(), 3 * AHEAD);
        assert!(places.windows(2).all(|w| w[0].1 + 1 == w[1].1));
    }

    #[test]
    fn a_feed_may_be_left_before_its_end() {
        let line: Box<dyn Read + Send> = Box::new(io::Cursor::new(line(1).repeat(2 * AHEAD)));
        let mut feed = Feed::new(vec![line], CaptureOptions::default());
        assert!(feed.next().is_some());
        drop(feed);
    }
}
