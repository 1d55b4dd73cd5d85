//! One flow of a gateway's UDP protocol: what it sends, and what the server acknowledges of it.
//!
//! An acknowledgement finds its datagram by the token. Where a gateway uses one token again and again it is that
//! of the newest datagram. A gateway with two servers sends each datagram twice: that is one datagram here, and
//! it counts as acknowledged when one of them answers.

use std::{collections::VecDeque, net::SocketAddr};

use crate::{
    intake::Wire,
    trace::{Moment, Spread},
};

/// A gateway waits about as long for a PUSH_ACK, and does not count one that comes later (common practice:
/// `push_timeout_ms` as shipped).
pub const ACKNOWLEDGED_WITHIN_US: i64 = 100_000;
/// An acknowledgement may still come after the end of a capture for what was sent this shortly before it: two
/// round trips of a satellite link, and some more.
const ROUND_TRIP_US: i64 = 3_000_000;
/// An acknowledgement that comes later than this is taken for one of another datagram.
const FORGOTTEN_US: i64 = 30_000_000;
/// Copies of one datagram to two servers leave within this time.
const COPIES_US: i64 = 5_000;
/// An answer that carries the wrong token still comes soon after its datagram.
const SOON_US: i64 = 2_000_000;
/// Datagrams that wait for their acknowledgement: those of half a minute, of a gateway that is busier than any.
const MOST_OPEN: usize = 512;
/// Servers, and addresses of the gateway, that are told apart.
const MOST_ADDRESSES: usize = 8;

/// One flow.
#[derive(Clone, Debug, Default)]
pub struct Flow {
    /// Datagrams of the gateway.
    pub asked: u64,
    /// Those that were acknowledged, by token.
    pub answered: u64,
    /// Those that were acknowledged while the gateway waits.
    pub in_time: u64,
    /// Acknowledgements that came from an address to which the datagram was not sent.
    pub astray: u64,
    /// The first of these: the address, and where it is.
    pub astray_from: Option<(SocketAddr, Moment)>,
    /// The first datagram, and the last.
    pub span: Option<(Moment, Moment)>,
    /// The last datagram that was acknowledged.
    pub last_answered: Option<Moment>,
    /// Datagrams since then.
    pub since: Run,
    /// The longest row of datagrams without an acknowledgement that ended with one.
    pub longest: Run,
    /// From a datagram to its acknowledgement, microseconds.
    pub delays: Spread<i64>,
    /// From one datagram to the next, microseconds.
    pub gaps: Spread<i64>,
    /// Acknowledgements whose token is that of no datagram.
    pub other_tokens: OtherTokens,
    /// Acknowledgements that follow a datagram and carry the token of the one before it.
    pub behind: u64,
    /// Versions of the protocol that the gateway used, and that the server answered with, a bit each.
    pub versions: (u8, u8),
    /// Where it sends to.
    pub servers: Vec<Server>,
    /// Where it sends from.
    pub sources: Vec<SocketAddr>,
    open: VecDeque<Ask>,
}

/// Datagrams in a row that were not acknowledged.
#[derive(Clone, Copy, Debug, Default, Eq, PartialEq)]
pub struct Run {
    /// How many.
    pub count: u64,
    /// The first of them.
    pub first: Option<Moment>,
}

/// A server that a gateway sends to.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct Server {
    /// Its address and port.
    pub address: SocketAddr,
    /// Datagrams sent to it.
    pub asked: u64,
    /// Those that it acknowledged itself.
    pub answered: u64,
}

/// Acknowledgements whose token is that of no datagram, and what would make it one.
#[derive(Clone, Copy, Debug, Default, Eq, PartialEq)]
pub struct OtherTokens {
    /// How many.
    pub answers: u64,
    /// How many have the two bytes of the datagram's token swapped.
    pub swapped: u64,
    /// How many have a token of zero.
    pub zero: u64,
    /// How many have one more than the datagram's token.
    pub next: u64,
    /// The first: the datagram, and the answer to it.
    pub first: Option<(Moment, Option<u16>, Moment, Option<u16>)>,
}

/// A datagram of the gateway.
#[derive(Clone, Debug)]
struct Ask {
    token: Option<u16>,
    moment: Moment,
    to: [Option<SocketAddr>; 2],
    period: u64,
    answered: bool,
}

/// A datagram that is acknowledged now.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(super) struct Answered {
    /// The period in which it was sent.
    pub(super) period: u64,
    /// Whether the gateway was still waiting.
    pub(super) in_time: bool,
}

impl Flow {
    /// Returns whether anything of it is in the capture.
    pub const fn is_recorded(&self) -> bool {
        self.asked + self.answered + self.other_tokens.answers > 0
    }

    /// Returns how many datagrams were sent so shortly before the end of the capture that their acknowledgement
    /// may lie after it.
    pub fn pending(&self, end: Option<jiff::Timestamp>) -> u64 {
        let end = end.map(jiff::Timestamp::as_microsecond);
        let open = self.open.iter().rev().take_while(|ask| !ask.answered);
        let late = |ask: &&Ask| match (end, ask.moment.us()) {
            (Some(end), Some(at)) => end - at < ROUND_TRIP_US,
            // Without times only the very last one is open.
            _ => self.span.is_some_and(|(_, last)| last.line == ask.moment.line),
        };
        open.take_while(late).count() as u64
    }

    /// Takes a datagram of the gateway; returns whether it is a new one and no copy for another server.
    pub(super) fn ask(&mut self, moment: Moment, wire: &Wire, period: u64) -> bool {
        let to = wire.ends.as_ref().map(|ends| ends.to);
        if let Some(ends) = &wire.ends {
            note_address(&mut self.sources, ends.from);
            self.server(ends.to, |server| server.asked += 1);
        }
        if let Some(version) = wire.version {
            self.versions.0 |= bit(version);
        }
        if let Some(last) = self.open.back_mut()
            && last.is_copied(moment, wire.token, to)
        {
            if let [Some(_), second @ None] = &mut last.to {
                *second = to;
            }
            return false;
        }
        if let Some((_, last)) = self.span
            && let Some(gap) = moment.since(last)
        {
            self.gaps.push(gap);
        }
        self.asked += 1;
        self.span = Some((self.span.map_or(moment, |(first, _)| first), moment));
        self.since.count += 1;
        self.since.first.get_or_insert(moment);
        let to = [to, None];
        self.open.push_back(Ask { token: wire.token, moment, to, period, answered: false });
        let old = |ask: &Ask| moment.since(ask.moment).is_some_and(|us| us > FORGOTTEN_US);
        while self.open.len() > MOST_OPEN || self.open.front().is_some_and(old) {
            self.open.pop_front();
        }
        true
    }

    /// The last datagram belongs to another period: it carried the statistics that close the one before.
    pub(super) fn moves_on(&mut self, moment: Moment, period: u64) -> bool {
        match self.open.back_mut() {
            Some(last) if last.moment.line.order == moment.line.order => {
                last.period = period;
                true
            }
            _ => false,
        }
    }

    /// Takes an acknowledgement; returns the datagram that it is for.
    pub(super) fn answer(&mut self, moment: Moment, wire: &Wire) -> Option<Answered> {
        if let Some(version) = wire.version {
            self.versions.1 |= bit(version);
        }
        let from = wire.ends.as_ref().map(|ends| ends.from);
        let by_token = |ask: &Ask| ask.token == wire.token;
        let unanswered = self.open.iter().rposition(|ask| by_token(ask) && !ask.answered);
        let Some(place) = unanswered else {
            // A second server acknowledges what the first one did.
            let again = self.open.iter().rfind(|ask| by_token(ask));
            match (again, from) {
                (Some(ask), Some(from)) if ask.to.contains(&Some(from)) => {
                    self.server(from, |server| server.answered += 1);
                }
                (Some(_), _) => {}
                (None, _) => self.strange(moment, wire.token),
            }
            return None;
        };
        let last = self.open.len() - 1;
        let ask = self.open.get_mut(place)?;
        ask.answered = true;
        let (sent, period, to) = (ask.moment, ask.period, ask.to);
        let delay = moment.since(sent);
        if let Some(us) = delay {
            self.delays.push(us);
        }
        let in_time = delay.is_none_or(|us| us <= ACKNOWLEDGED_WITHIN_US);
        self.answered += 1;
        self.in_time += u64::from(in_time);
        if let Some(from) = from {
            if to.contains(&Some(from)) {
                self.server(from, |server| server.answered += 1);
            } else {
                self.astray += 1;
                self.astray_from.get_or_insert((from, moment));
            }
        }
        let newest = self.open.back().map(|ask| ask.moment);
        let follows = newest.is_some_and(|at| moment.since(at).is_some_and(|us| us < SOON_US));
        let older = delay.is_some_and(|us| us > SOON_US);
        self.behind += u64::from(place + 1 == last && follows && older);
        self.row_ends(place, sent);
        Some(Answered { period, in_time })
    }

    /// The row of datagrams without an acknowledgement ends with the one at `place`.
    fn row_ends(&mut self, place: usize, sent: Moment) {
        if self.last_answered.is_some_and(|last| last.line > sent.line) {
            return;
        }
        let mut after = self.open.iter().skip(place + 1).filter(|ask| !ask.answered);
        let first = after.next().map(|ask| ask.moment);
        let left = first.map_or(0, |_| 1 + after.count() as u64);
        let before = Run { count: self.since.count.saturating_sub(left + 1), ..self.since };
        if before.count > self.longest.count {
            self.longest = before;
        }
        self.since = Run { count: left, first };
        self.last_answered = Some(sent);
    }

    /// An answer with a token that no datagram had.
    fn strange(&mut self, moment: Moment, token: Option<u16>) {
        let others = &mut self.other_tokens;
        let soon =
            |ask: &&Ask| moment.since(ask.moment).is_none_or(|us| (0..SOON_US).contains(&us));
        let Some(ask) = self.open.back().filter(|ask| !ask.answered).filter(soon) else { return };
        let (Some(sent), Some(got)) = (ask.token, token) else { return };
        others.answers += 1;
        others.swapped += u64::from(got == sent.swap_bytes());
        others.zero += u64::from(got == 0);
        others.next += u64::from(got == sent.wrapping_add(1));
        others.first.get_or_insert((ask.moment, ask.token, moment, token));
    }

    fn server(&mut self, address: SocketAddr, note: impl FnOnce(&mut Server)) {
        if let Some(known) = self.servers.iter_mut().find(|server| server.address == address) {
            note(known);
        } else if self.servers.len() < MOST_ADDRESSES {
            let mut server = Server { address, asked: 0, answered: 0 };
            note(&mut server);
            self.servers.push(server);
        }
    }
}

impl Ask {
    /// Whether a datagram is this one, sent to another server or recorded twice.
    fn is_copied(&self, moment: Moment, token: Option<u16>, to: Option<SocketAddr>) -> bool {
        let at_once = moment.since(self.moment).is_some_and(|us| (0..=COPIES_US).contains(&us));
        token.is_some() && self.token == token && at_once && !(to.is_some() && self.to[0] == to)
    }
}

fn note_address(known: &mut Vec<SocketAddr>, address: SocketAddr) {
    if !known.contains(&address) && known.len() < MOST_ADDRESSES {
        known.push(address);
    }
}

/// A bit for a version of the protocol, which has 1 and 2.
const fn bit(version: u8) -> u8 {
    1 << (version & 7)
}
