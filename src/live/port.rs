//! The port: receives, acknowledges or hands on at once, and leaves all else to others.
//!
//! One thread waits on the port and on the socket towards the server of every gateway. It never waits
//! for a disk, a screen or a server: what a socket does not take at once is lost, as datagrams may be,
//! and counted.

use std::{
    collections::{BTreeSet, HashMap, HashSet, VecDeque},
    io,
    net::{Ipv4Addr, Ipv6Addr, SocketAddr},
    sync::{
        Arc,
        atomic::{AtomicBool, Ordering},
    },
    time::{Duration, Instant},
};

use jiff::Timestamp;
use mio::{Events, Interest, Poll, Token, net::UdpSocket};
use socket2::{Domain, Protocol, SockRef, Socket, Type};

use super::{
    Config, PortWord, TapError, caught::Caught, counters::Counters, drops::Drops, echo::Echo,
    sources::Sources,
};
use crate::{id::Eui64, intake::Header};

/// What the port hands on to those who decode and record.
pub(super) trait Outlet: Sync {
    /// A datagram passed.
    fn caught(&self, caught: Arc<Caught>);
    /// The server fell silent, or speaks again.
    fn server(&self, answers: bool);
    /// Something is wrong.
    fn word(&self, word: PortWord);
}

pub(super) struct Port {
    poll: Poll,
    /// Where gateways send to: one port for both directions, or two.
    doors: Vec<Door>,
    received_octets: usize,
    server: Option<SocketAddr>,
    allow: BTreeSet<Eui64>,
    sources: Sources<Source>,
    echo: Echo,
    drops: Drops,
    /// When drops were last looked for, and when each word was last said.
    looked: Instant,
    told: [Option<Instant>; 2],
    /// The gateway's address of each socket towards the server.
    upstream: HashMap<Token, SocketAddr>,
    next_token: usize,
    /// When the server was first asked something that it did not answer yet.
    asked: Option<Instant>,
    silent: bool,
    count: Option<u64>,
}

/// A socket that gateways send to.
struct Door {
    socket: UdpSocket,
    local: SocketAddr,
}

/// What is known of an address that gateways send from.
#[derive(Debug, Default)]
struct Source {
    gateway: Option<Eui64>,
    upstream: Option<(Token, UdpSocket)>,
    /// The door that it sends to, and is answered from.
    door: usize,
}

impl Port {
    pub(super) fn open(config: &Config) -> Result<Self, TapError> {
        let poll =
            Poll::new().map_err(|error| TapError::Listen { listen: config.listen, error })?;
        let mut doors = Vec::new();
        let mut received_octets = usize::MAX;
        let mut drops = Drops::default();
        for listen in [Some(config.listen), config.listen_too].into_iter().flatten() {
            let cannot = |error| TapError::Listen { listen, error };
            let (mut socket, octets) = bind(listen).map_err(cannot)?;
            let local = socket.local_addr().map_err(cannot)?;
            drops.add(&socket);
            let token = Token(doors.len());
            poll.registry().register(&mut socket, token, Interest::READABLE).map_err(cannot)?;
            doors.push(Door { socket, local });
            received_octets = received_octets.min(octets);
        }
        if let Some(server) = config.relay
            && let Some(door) = doors.iter().find(|door| leads_to(server, door.local))
        {
            return Err(TapError::Itself { server, listen: door.local });
        }
        let now = Instant::now();
        Ok(Self {
            next_token: doors.len(),
            poll,
            doors,
            received_octets,
            server: config.relay,
            allow: config.allow.clone(),
            sources: Sources::new(most_sources(), now),
            echo: Echo::default(),
            drops,
            looked: now,
            told: [None; 2],
            upstream: HashMap::new(),
            asked: None,
            silent: false,
            count: config.count,
        })
    }

    pub(super) fn locals(&self) -> impl Iterator<Item = SocketAddr> {
        self.doors.iter().map(|door| door.local)
    }

    /// Returns how many octets the system keeps for the port until they are read.
    pub(super) const fn receive_buffer(&self) -> usize {
        self.received_octets
    }

    /// Receives until it is told to stop, the time is over, or enough has come.
    pub(super) fn run(
        &mut self,
        counters: &Counters,
        outlet: &dyn Outlet,
        stop: &AtomicBool,
        until: Option<Instant>,
    ) -> io::Result<()> {
        let mut events = Events::with_capacity(EVENTS);
        let mut buffer = vec![0; LONGEST];
        let mut ready: VecDeque<Token> = VecDeque::new();
        let mut known: HashSet<Token> = HashSet::new();
        let mut work = Work { counters, outlet, buffer: &mut buffer };
        loop {
            let patience = if ready.is_empty() { TICK } else { Duration::ZERO };
            match self.poll.poll(&mut events, Some(patience)) {
                Ok(()) => {}
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                Err(error) => return Err(error),
            }
            ready.extend(events.iter().map(mio::event::Event::token).filter(|t| known.insert(*t)));
            // A socket that is not read to its end gets its next turn after all others.
            for _ in 0..ready.len() {
                let Some(token) = ready.pop_front() else { break };
                let more = if token.0 < self.doors.len() {
                    self.read_gateways(token.0, &mut work)
                } else {
                    self.read_server(token, &mut work)
                };
                if more {
                    ready.push_back(token);
                } else {
                    known.remove(&token);
                }
            }
            self.mind_silence(outlet);
            self.mind_drops(counters, outlet, LOOK);
            let enough = self.count.is_some_and(|count| counters.received.value() >= count);
            let over = until.is_some_and(|until| Instant::now() >= until);
            if enough || over || stop.load(Ordering::Relaxed) {
                self.mind_drops(counters, outlet, Duration::ZERO);
                return Ok(());
            }
        }
    }

    /// Reads some datagrams from the port; says whether there may be more.
    fn read_gateways(&mut self, place: usize, work: &mut Work<'_>) -> bool {
        for _ in 0..BURST {
            let Some(door) = self.doors.get(place) else { return false };
            match door.socket.recv_from(work.buffer) {
                Ok((n, peer)) => {
                    work.counters.received.one();
                    self.up(n, (peer, place), work);
                    if self.count.is_some_and(|count| work.counters.received.value() >= count) {
                        return true;
                    }
                }
                Err(error) if error.kind() == io::ErrorKind::WouldBlock => return false,
                // Some systems report here that an acknowledgement met nobody.
                Err(_) => {}
            }
        }
        true
    }

    fn up(&mut self, n: usize, (peer, door): (SocketAddr, usize), work: &mut Work<'_>) {
        let Work { counters, outlet, buffer } = work;
        let octets = buffer.get(..n).unwrap_or_default();
        let work = Handing { counters, outlet: *outlet };
        let header = match Header::read(octets) {
            Ok(header) if header.kind.is_from_gateway() => header,
            odd => {
                let counters = work.counters;
                let counter = if odd.is_ok() { &counters.misdirected } else { &counters.malformed };
                counter.one();
                // A relay leaves judgement to the server. What names no gateway is of none that is allowed.
                let known = self.sources.get(&peer).is_some_and(|source| source.upstream.is_some());
                let admitted = known
                    || self.server.is_some()
                        && self.allow.is_empty()
                        && self.admit(peer, None, door, counters);
                if admitted {
                    self.hand_on(octets, peer, work);
                }
                return;
            }
        };
        let known = self.sources.get(&peer).and_then(|source| source.gateway);
        let gateway = header.gateway.or(known);
        if !self.allow.is_empty() && gateway.is_none_or(|eui| !self.allow.contains(&eui)) {
            return work.counters.not_allowed.one();
        }
        let admitted = self.admit(peer, gateway, door, work.counters);
        if self.server.is_some() {
            if admitted {
                self.hand_on(octets, peer, work);
            }
            if header.acknowledgement().is_some() {
                self.asked.get_or_insert_with(Instant::now);
            }
        } else if let Some(answer) = header.acknowledgement() {
            let counters = work.counters;
            match self.doors.get(door).map(|door| door.socket.send_to(&answer, peer)) {
                Some(Ok(_)) => counters.acknowledged.one(),
                _ => counters.not_sent.one(),
            }
        }
        work.outlet.caught(self.caught(header, gateway, (peer, door), octets));
    }

    /// Meets an address, or admits it; says whether it is known now.
    fn admit(
        &mut self,
        peer: SocketAddr,
        gateway: Option<Eui64>,
        door: usize,
        counters: &Counters,
    ) -> bool {
        let now = Instant::now();
        if let Some(source) = self.sources.meet(&peer, now) {
            (source.gateway, source.door) = (gateway.or(source.gateway), door);
            return true;
        }
        let source = Source { gateway, upstream: None, door };
        let Ok(forgotten) = self.sources.admit(peer, source, now) else {
            if self.server.is_some() {
                counters.not_admitted.one();
            }
            return false;
        };
        self.forget(forgotten, counters);
        true
    }

    fn caught(
        &self,
        header: Header,
        gateway: Option<Eui64>,
        (peer, door): (SocketAddr, usize),
        octets: &[u8],
    ) -> Arc<Caught> {
        let (at, octets) = (Timestamp::now(), octets.into());
        let port = self.doors.get(door).map_or(peer, |door| door.local);
        Arc::new(Caught { at, peer, port, header, gateway, octets })
    }

    /// Sends a gateway's datagram to the server, from the socket of that gateway alone.
    fn hand_on(&mut self, octets: &[u8], peer: SocketAddr, work: Handing<'_>) {
        let counters = work.counters;
        if self.echo.returns(octets, peer, Instant::now()) {
            counters.returned.one();
            self.say(PortWord::Returned(peer), 0, work.outlet);
            return;
        }
        if self.sources.get(&peer).is_some_and(|source| source.upstream.is_none()) {
            let Ok(opened) = self.open_upstream(counters) else { return counters.not_sent.one() };
            self.upstream.insert(opened.0, peer);
            // Room may have been made for it by forgetting the very gateway; then it comes again.
            match self.sources.get_mut(&peer) {
                Some(source) => source.upstream = Some(opened),
                None => return counters.not_sent.one(),
            }
        }
        let upstream = self.sources.get(&peer).and_then(|source| source.upstream.as_ref());
        let Some((_, socket)) = upstream else { return };
        let sent = match socket.send(octets) {
            // The word that an earlier datagram met nobody; this one was not sent yet.
            Err(error) if error.kind() == io::ErrorKind::ConnectionRefused => socket.send(octets),
            sent => sent,
        };
        match sent {
            Ok(_) => counters.relayed_up.one(),
            Err(_) => counters.not_sent.one(),
        }
    }

    fn open_upstream(&mut self, counters: &Counters) -> io::Result<(Token, UdpSocket)> {
        let Some(server) = self.server else { return Err(io::ErrorKind::NotConnected.into()) };
        let any = match server {
            SocketAddr::V4(_) => SocketAddr::from((Ipv4Addr::UNSPECIFIED, 0)),
            SocketAddr::V6(_) => SocketAddr::from((Ipv6Addr::UNSPECIFIED, 0)),
        };
        let mut socket = if let Ok(socket) = UdpSocket::bind(any) {
            socket
        } else {
            // The system has no more sockets for us: those not used for longest make room, and some
            // more, for files that a recording opens.
            for _ in 0..SPARE {
                let forgotten = self.sources.forget_oldest(Instant::now());
                self.forget(forgotten, counters);
            }
            self.sources.close();
            UdpSocket::bind(any)?
        };
        // A server answers a burst with another one.
        let _ = SockRef::from(&socket).set_recv_buffer_size(UPSTREAM_BUFFER);
        socket.connect(server)?;
        let token = Token(self.next_token);
        self.next_token += 1;
        self.poll.registry().register(&mut socket, token, Interest::READABLE)?;
        Ok((token, socket))
    }

    fn forget(&mut self, forgotten: Option<(SocketAddr, Source)>, counters: &Counters) {
        let Some((_, source)) = forgotten else { return };
        counters.forgotten.one();
        if let Some((token, mut socket)) = source.upstream {
            self.upstream.remove(&token);
            // It is closed with its last use; the register forgets it then at the latest.
            let _ = self.poll.registry().deregister(&mut socket);
        }
    }

    /// Reads some datagrams of the server for one gateway; says whether there may be more.
    fn read_server(&mut self, token: Token, work: &mut Work<'_>) -> bool {
        let Some(&peer) = self.upstream.get(&token) else { return false };
        for _ in 0..BURST {
            let Some(source) = self.sources.get(&peer) else { return false };
            let Some((_, socket)) = &source.upstream else { return false };
            let n = match socket.recv(work.buffer) {
                Ok(n) => n,
                Err(error) if error.kind() == io::ErrorKind::WouldBlock => return false,
                // The word that a datagram met nobody: the server is away, which silence tells.
                Err(_) => continue,
            };
            let octets = work.buffer.get(..n).unwrap_or_default();
            let door = source.door;
            match self.doors.get(door).map(|door| door.socket.send_to(octets, peer)) {
                Some(Ok(_)) => work.counters.relayed_down.one(),
                _ => work.counters.not_sent.one(),
            }
            match Header::read(octets) {
                Ok(header) if !header.kind.is_from_gateway() => {
                    let caught = self.caught(header, source.gateway, (peer, door), octets);
                    work.outlet.caught(caught);
                }
                Ok(_) => work.counters.misdirected.one(),
                Err(_) => work.counters.malformed.one(),
            }
            self.asked = None;
            if self.silent {
                self.silent = false;
                work.outlet.server(true);
            }
        }
        true
    }

    /// Counts what the system dropped, and says so.
    fn mind_drops(&mut self, counters: &Counters, outlet: &dyn Outlet, pause: Duration) {
        if self.looked.elapsed() < pause {
            return;
        }
        self.looked = Instant::now();
        let Some(dropped) = self.drops.count() else { return };
        if dropped > counters.dropped.value() {
            counters.dropped.raise_to(dropped);
            self.say(PortWord::Dropped(dropped), 1, outlet);
        }
    }

    /// Says something that may be so for long, once in a while.
    fn say(&mut self, word: PortWord, place: usize, outlet: &dyn Outlet) {
        let Some(told) = self.told.get_mut(place) else { return };
        if told.is_none_or(|told| told.elapsed() >= TOLD_AGAIN) {
            *told = Some(Instant::now());
            outlet.word(word);
        }
    }

    fn mind_silence(&mut self, outlet: &dyn Outlet) {
        if !self.silent && self.asked.is_some_and(|asked| asked.elapsed() >= SILENCE) {
            self.silent = true;
            outlet.server(false);
        }
    }
}

/// Whether datagrams to a server come to this door: also by the address of everything, by another address of this
/// machine, or by an IPv4 address written as IPv6.
fn leads_to(server: SocketAddr, door: SocketAddr) -> bool {
    if server.port() != door.port() {
        return false;
    }
    let (server, door) = (server.ip().to_canonical(), door.ip().to_canonical());
    // An address of this machine is one that a socket can be bound to.
    let is_here = || std::net::UdpSocket::bind((server, 0)).is_ok();
    server == door
        || server.is_unspecified() && (door.is_loopback() || door.is_unspecified())
        || door.is_unspecified() && is_here()
}

/// Returns for how many addresses there are sockets, after the system was asked for as many as it gives.
fn most_sources() -> usize {
    #[cfg(unix)]
    {
        use nix::sys::resource::{Resource, getrlimit, setrlimit};
        if let Ok((soft, hard)) = getrlimit(Resource::RLIMIT_NOFILE) {
            let wanted = (MOST_SOURCES as u64 + OTHER_FILES).min(hard).max(soft);
            let given = if setrlimit(Resource::RLIMIT_NOFILE, wanted, hard).is_ok() {
                wanted
            } else {
                soft
            };
            let room = usize::try_from(given.saturating_sub(OTHER_FILES)).unwrap_or(MOST_SOURCES);
            return room.clamp(1, MOST_SOURCES);
        }
    }
    MOST_SOURCES / 4
}

/// What handing on needs beside the port itself.
#[derive(Clone, Copy)]
struct Handing<'a> {
    counters: &'a Counters,
    outlet: &'a dyn Outlet,
}

/// What a round needs beside the port itself.
struct Work<'a> {
    counters: &'a Counters,
    outlet: &'a dyn Outlet,
    buffer: &'a mut [u8],
}

fn bind(listen: SocketAddr) -> io::Result<(UdpSocket, usize)> {
    let socket = Socket::new(Domain::for_address(listen), Type::DGRAM, Some(Protocol::UDP))?;
    // The system may cap it, but not for everybody; what it gives is told.
    let _ = socket.set_recv_buffer_size(RECEIVE_BUFFER);
    #[cfg(target_os = "linux")]
    let _ = nix::sys::socket::setsockopt(
        &socket,
        nix::sys::socket::sockopt::RcvBufForce,
        &RECEIVE_BUFFER,
    );
    socket.set_nonblocking(true)?;
    socket.bind(&listen.into())?;
    let octets = socket.recv_buffer_size()?;
    Ok((UdpSocket::from_std(socket.into()), octets))
}

/// Octets that are asked for, for what comes while the tap is busy: a second of 20,000 small datagrams.
pub(super) const RECEIVE_BUFFER: usize = 16 << 20;
/// Octets of the longest datagram that UDP has.
const LONGEST: usize = 1 << 16;
/// Octets that are asked for on the way back: a gateway is sent less than it sends.
const UPSTREAM_BUFFER: usize = 1 << 20;
/// Addresses that gateways send from; each has a socket towards the server.
const MOST_SOURCES: usize = 16_384;
/// Files that a run has open besides: the terminal, a roster, a recording, ports.
const OTHER_FILES: u64 = 64;
/// Drops are looked for once in this time: the system's table has a line for each socket.
const LOOK: Duration = Duration::from_secs(1);
/// What goes on is said once in this time.
const TOLD_AGAIN: Duration = Duration::from_secs(60);
/// Addresses that make room where the system has no more sockets.
const SPARE: usize = 8;
/// Datagrams that are read from one socket before others get their turn.
const BURST: usize = 64;
/// Sockets that one look may find ready.
const EVENTS: usize = 256;
/// How long a stop may wait to be noticed.
const TICK: Duration = Duration::from_millis(100);
/// A server that leaves gateways without an answer this long is told of. Gateways themselves count
/// an acknowledgement as missed after a fraction of a second.
const SILENCE: Duration = Duration::from_secs(5);
