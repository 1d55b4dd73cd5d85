//! Who talks to whom: which gateway a datagram without an EUI belongs to, and which was recorded twice.
//!
//! A PULL_RESP goes to the address that its gateway's PULL_DATA comes from. One that comes before any (a recording
//! begins in the middle) waits for what tells: a datagram with an EUI from that address, or the TX_ACK with its
//! token. When too many wait, the only gateway of that IP address is taken, if there is one only.

use std::{
    collections::{HashMap, VecDeque},
    hash::{BuildHasher, RandomState},
    net::{IpAddr, SocketAddr},
};

use jiff::Timestamp;

use crate::{
    id::Eui64,
    intake::{
        event::{Event, Network},
        header::{DatagramKind, Header},
        item::Item,
        packet::Udp,
    },
};

/// What the datagrams so far tell.
#[derive(Debug, Default)]
pub(super) struct Talk {
    pulls: HashMap<SocketAddr, Owner>,
    pushes: HashMap<SocketAddr, Owner>,
    addresses: HashMap<IpAddr, Owner>,
    /// In order; the first one waits.
    held: VecDeque<Held>,
    recent: VecDeque<Seen>,
    hasher: RandomState,
}

/// The gateways behind an address.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(super) enum Owner {
    One(Eui64),
    Several,
}

impl Owner {
    pub(super) fn gateway(self) -> Option<Eui64> {
        if let Self::One(eui) = self { Some(eui) } else { None }
    }
}

#[derive(Debug)]
struct Held {
    events: Vec<Event>,
    token: Option<u16>,
    /// The gateway's address, while its EUI is not known.
    waits: Option<SocketAddr>,
}

/// A datagram that came lately.
#[derive(Clone, Copy, Debug)]
struct Seen {
    hash: u64,
    at: Option<Timestamp>,
    number: u64,
}

impl Talk {
    /// Returns whether a datagram is one of the protocol as far as its addresses tell.
    ///
    /// An acknowledgement is four octets, and anything may look like it: it must go to a known gateway.
    pub(super) fn fits(&self, header: &Header, udp: &Udp<'_>) -> bool {
        !matches!(header.kind, DatagramKind::PushAck | DatagramKind::PullAck)
            || self.pulls.contains_key(&udp.to)
            || self.pushes.contains_key(&udp.to)
    }

    /// Returns whether the same datagram was recorded just before, on its way through another interface.
    ///
    /// Addresses may be translated on the way, so that what names its gateway is known by that alone.
    pub(super) fn is_repeated(
        &mut self,
        header: &Header,
        udp: &Udp<'_>,
        at: Option<Timestamp>,
        number: u64,
    ) -> bool {
        if let Some(eui) = header.gateway {
            self.learn(header.kind, udp.from, eui);
        }
        let whose = header.gateway.or_else(|| self.known(udp.to)).ok_or((udp.from, udp.to));
        let hash = self.hasher.hash_one((whose, udp.identification, udp.payload));
        let is_old = |seen: &Seen| match (at, seen.at) {
            (Some(at), Some(before)) => at.duration_since(before).abs().as_micros() > TWICE_US,
            _ => number - seen.number > BESIDE,
        };
        while self.recent.front().is_some_and(is_old) || self.recent.len() > MOST_RECENT {
            self.recent.pop_front();
        }
        let repeated = self.recent.iter().any(|seen| seen.hash == hash && !is_old(seen));
        if !repeated {
            self.recent.push_back(Seen { hash, at, number });
        }
        repeated
    }

    /// Takes a datagram, and hands on all whose gateway is known.
    pub(super) fn push(
        &mut self,
        header: &Header,
        mut events: Vec<Event>,
        from: SocketAddr,
        to: SocketAddr,
        ready: &mut VecDeque<Item>,
    ) {
        let gateway = if header.kind.is_from_gateway() { from } else { to };
        let known = match header.gateway {
            Some(eui) => {
                self.tell(header, from, eui);
                Some(eui)
            }
            None => self.known(gateway),
        };
        name(&mut events, known);
        let waits =
            known.is_none() && matches!(header.kind, DatagramKind::PullResp | DatagramKind::TxAck);
        if !waits && self.held.is_empty() {
            ready.extend(events.into_iter().map(Item::Event));
            return;
        }
        let token = events.first().and_then(|event| event.wire.token);
        let waits = waits.then_some(gateway);
        self.held.push_back(Held { events, token, waits });
        if self.held.len() > MOST_HELD {
            self.settle_first();
        }
        while let Some(Held { waits: None, .. }) = self.held.front() {
            self.hand_on(ready);
        }
    }

    /// Returns whose datagram the network speaks of; `None` where it was none of a gateway's.
    pub(super) fn concerns(&self, network: &Network) -> Option<Owner> {
        let Network::Unreachable { from, to, .. } = network else { return None };
        self.owner(*from).or_else(|| self.owner(*to))
    }

    /// Hands on an event in its turn.
    pub(super) fn put(&mut self, event: Event, ready: &mut VecDeque<Item>) {
        if self.held.is_empty() {
            return ready.push_back(Item::Event(event));
        }
        self.held.push_back(Held { events: vec![event], token: None, waits: None });
    }

    /// Hands on everything: nothing more will come.
    pub(super) fn release(&mut self, ready: &mut VecDeque<Item>) {
        while !self.held.is_empty() {
            self.settle_first();
            self.hand_on(ready);
        }
    }

    fn hand_on(&mut self, ready: &mut VecDeque<Item>) {
        let events = self.held.pop_front().map(|held| held.events);
        ready.extend(events.into_iter().flatten().map(Item::Event));
    }

    /// Gives up waiting for the first one's gateway.
    fn settle_first(&mut self) {
        let Some(held) = self.held.front_mut() else { return };
        if let Some(address) = held.waits.take()
            && let Some(Owner::One(eui)) = self.addresses.get(&address.ip())
            && !self.pulls.contains_key(&address)
        {
            name(&mut held.events, Some(*eui));
        }
    }

    fn learn(&mut self, kind: DatagramKind, from: SocketAddr, eui: Eui64) {
        if self.addresses.len() + self.pulls.len() + self.pushes.len() >= MOST_ADDRESSES {
            // More than any recording has: begin anew.
            self.addresses.clear();
            self.pulls.clear();
            self.pushes.clear();
        }
        let by_port =
            if kind == DatagramKind::PushData { &mut self.pushes } else { &mut self.pulls };
        owned(by_port.entry(from).or_insert(Owner::One(eui)), eui);
        owned(self.addresses.entry(from.ip()).or_insert(Owner::One(eui)), eui);
    }

    /// Tells those that wait for it which gateway stands behind an address.
    fn tell(&mut self, told: &Header, from: SocketAddr, eui: Eui64) {
        let one = self.known(from) == Some(eui);
        for held in &mut self.held {
            let answers = told.kind == DatagramKind::TxAck && held.token == Some(told.token);
            if held.waits == Some(from) && (one || answers) {
                name(&mut held.events, Some(eui));
                held.waits = None;
            }
        }
    }

    /// Returns the only gateway behind an address: by its PULL_DATA, or else by its PUSH_DATA.
    fn known(&self, address: SocketAddr) -> Option<Eui64> {
        self.owner(address)?.gateway()
    }

    fn owner(&self, address: SocketAddr) -> Option<Owner> {
        self.pulls.get(&address).or_else(|| self.pushes.get(&address)).copied()
    }
}

fn name(events: &mut [Event], gateway: Option<Eui64>) {
    for event in events {
        event.gateway = gateway;
    }
}

/// Notes that a gateway was behind an address.
fn owned(owner: &mut Owner, eui: Eui64) {
    if *owner != Owner::One(eui) {
        *owner = Owner::Several;
    }
}

/// A packet passes the interfaces of one host within this time.
const TWICE_US: i128 = 10_000;
/// Or, where times are not known, within so many packets.
const BESIDE: u64 = 4;
const MOST_RECENT: usize = 512;
/// Datagrams that wait for one that tells whose they are.
const MOST_HELD: usize = 256;
const MOST_ADDRESSES: usize = 1 << 18;
