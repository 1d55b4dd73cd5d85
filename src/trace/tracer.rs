//! The tracer: events in, a trace out.

mod apart;
mod down;
mod hosts;
mod shed;
mod short;
mod told;
mod twice;
mod up;
mod watch;
mod who;

pub use watch::GatewayTracer;

use std::collections::{HashMap, VecDeque};

use jiff::Timestamp;

use hosts::Sorted;

use super::{
    Counters, GatewayTrace, KeyRef, Line, NodeTrace, Origin, Role, Rule, SEARCHES_OF_A_NODE,
    Session, Trace,
    names::Names,
    order::InOrder,
    pairing::OpenOrders,
    session::{Candidate, Held},
    told::Told,
};
use crate::{
    crypto::derive::{self, SessionKeys},
    frame::DataFrame,
    id::{DevAddr, DevEui, Eui64},
    intake::{Event, Position, What},
    key::{AppKey, NwkKey},
    roster::{Claim, ClaimKind, Roster},
};

pub(crate) use down::open;
pub(crate) use short::missing_dev_eui_byte;
pub(crate) use up::is_copy;

/// Two receptions of one gateway this close are one transmission, whatever their channels.
const GHOST_US: u32 = 1_000;
/// And their datagrams come within this time.
const GHOST_WALL_US: i64 = 500_000;
/// A node listens for seconds after a Join-Request: the same octets this soon are no second one,
/// whatever counter they come with (two gateways may go by one EUI).
const SAME_REQUEST_US: i64 = 1_000_000;
/// Copies of other gateways come within this time.
const COPY_US: i64 = 2_000_000;
/// A Join-Request is never sent twice, so that a copy of another gateway may come much later.
const LATE_COPY_US: i64 = 30_000_000;
/// Receptions without a time or gateway this near in the capture are one transmission.
const BESIDE_LINES: u64 = 2;
/// Frames remembered for the folding of copies.
const REMEMBERED: usize = 4_096;
/// Sessions of one node under one address that a frame is tried in: the newest.
const SAME_ADDRESS: usize = 32;
/// Addresses of no known node that are listed.
const FOREIGN: usize = 65_536;
/// Frames of such addresses that are kept, and of one of them.
const STRAY_FRAMES: usize = 4_096;
const STRAYS_OF_ONE: u64 = 8;
const STRAYS_OF_A_GROUP: u64 = 512;
/// Accepts that answer no request that are kept.
const STRAY: usize = 1_024;
/// Damaged places that are remembered.
const DAMAGED: usize = 1_024;
/// Strangers that are listed.
const STRANGERS: usize = 65_536;
/// A roster longer than this is not searched through for every request that nothing explains.
const LONG_ROSTER: usize = 256;
/// Requests under one DevEUI on which the keys of all other nodes are tried, on a long roster.
const WIDE_TRIALS: u8 = 8;
/// Keys of other nodes that are tried on what a node's own keys do not explain.
const STRANGER_TRIALS: usize = 20_000;

/// Takes events and sorts them by time and by node. A copy shows how things stand while more is
/// to come.
#[derive(Clone, Debug)]
pub struct Tracer<'r> {
    roster: &'r Roster,
    trace: Trace,
    waiting: InOrder,
    twice: twice::Recorded,
    hosts: hosts::Hosts,
    /// Lines and packets taken so far, and where the last of them is.
    taken: u64,
    last: Option<Position>,
    /// What the trace holds, and what it may hold before some of it is forgotten.
    held: usize,
    most_held: usize,
    /// Places in `trace.nodes` of the strangers, by DevEUI.
    strangers: HashMap<DevEui, usize>,
    names: Names,
    sessions: HashMap<DevAddr, Vec<(usize, usize)>>,
    recent: HashMap<Vec<u8>, Slot>,
    recent_order: VecDeque<Vec<u8>>,
    requests: VecDeque<(usize, usize)>,
    sendings: OpenOrders<SentSlot>,
    /// Nodes of the roster whose keys sign under a DevEUI that is not theirs.
    named_as: HashMap<DevEui, usize>,
    /// Requests under a DevEUI that the keys of all other nodes did not explain.
    in_vain: HashMap<DevEui, u8>,
    /// Addresses that words give to nodes.
    told_addrs: HashMap<DevAddr, usize>,
    /// Words that name no node.
    unnamed: Vec<Told>,
    /// What is left of the searches of each node.
    searches_left: HashMap<usize, u16>,
}

/// Where an uplink was put.
#[derive(Clone, Copy, Debug)]
enum Slot {
    Attempt(usize, usize),
    Data(usize, usize, usize),
    Unverified(usize, usize),
    Misshapen(usize, usize),
}

/// Where a downlink was put.
#[derive(Clone, Copy, Debug)]
enum SentSlot {
    Answer(usize, usize, usize),
    Data(usize, usize, usize),
    Unverified(usize, usize),
    Stray(usize),
}

/// Where an event is, when it came, through which gateway.
#[derive(Clone, Copy, Debug)]
struct Arrival {
    line: Line,
    at: Option<Timestamp>,
    gateway: Option<Eui64>,
    token: Option<u16>,
}

impl<'r> Tracer<'r> {
    /// Returns a tracer that knows the keys of a roster.
    pub fn new(roster: &'r Roster) -> Self {
        let mut tracer = Self {
            roster,
            trace: Trace::default(),
            waiting: InOrder::default(),
            twice: twice::Recorded::default(),
            hosts: hosts::Hosts::default(),
            taken: 0,
            last: None,
            held: 0,
            most_held: shed::ROOM,
            strangers: HashMap::new(),
            names: Names::of(roster),
            sessions: HashMap::new(),
            recent: HashMap::new(),
            recent_order: VecDeque::new(),
            requests: VecDeque::new(),
            sendings: OpenOrders::default(),
            named_as: HashMap::new(),
            in_vain: HashMap::new(),
            searches_left: HashMap::new(),
            told_addrs: HashMap::new(),
            unnamed: Vec::new(),
        };
        for (index, node) in roster.nodes.iter().enumerate() {
            let mut trace = NodeTrace { index: Some(index), ..NodeTrace::default() };
            for (_, claim) in node.claims() {
                trace.dev_eui = trace.dev_eui.or(claim.dev_eui);
                trace.join_eui = trace.join_eui.or(claim.join_eui);
            }
            tracer.trace.nodes.push(trace);
            for (kind, claim) in node.claims() {
                tracer.claimed_session(index, kind, claim);
            }
        }
        tracer
    }

    /// Takes one event.
    ///
    /// Events may come some thousands of places late: they are put in the order of time. Those
    /// without a time stay behind the one that they were pushed after.
    pub fn push(&mut self, event: Event) {
        self.twice.comes_from(event.place.source);
        if let Some(first) = self.waiting.push(event) {
            self.once(first);
        }
    }

    /// Learns of frames that are in the capture and not asked for.
    pub const fn leave_out(&mut self, uplinks: u64, downlinks: u64) {
        self.trace.lacks.uplinks += uplinks;
        self.trace.lacks.downlinks += downlinks;
    }

    /// Returns the trace of all that was pushed.
    pub fn finish(self) -> Trace {
        self.finish_since(|_| None)
    }

    /// Returns the trace without what was before a time: `since` is given the last time there is.
    ///
    /// What later frames rest on stays: the joins of sessions that are still in use. Of requests
    /// that are forgotten the nonces stay.
    pub fn finish_since(mut self, since: impl FnOnce(Timestamp) -> Option<Timestamp>) -> Trace {
        while let Some(first) = self.waiting.pop() {
            self.once(first);
        }
        self.trace.other_hosts = std::mem::take(&mut self.hosts).finish();
        self.trace.clocks = self.waiting.clocks().collect();
        self.second_look();
        self.settle_words();
        if let Some(time) = self.trace.span.and_then(|(_, last)| since(last)) {
            self.trace.lacks.before = Some(time);
            self.trace.nodes.iter_mut().for_each(|node| shed::forget_before(node, time));
        }
        self.trace.nodes.iter_mut().for_each(shed::settle);
        self.trace.gateways.values_mut().for_each(GatewayTrace::settle);
        self.part_guests();
        self.trace
    }

    /// What another capture has as well is taken once.
    fn once(&mut self, event: Event) {
        if self.twice.knows(&event) {
            return;
        }
        let line = self.line(event.place);
        match self.hosts.sort(&event, line) {
            Sorted::Own => self.event(line, event),
            Sorted::Aside => {}
            Sorted::Back(held) => {
                // Their places are earlier; their order is that in which they are told.
                for event in held {
                    self.event(Line { place: event.place, ..line }, event);
                }
                self.event(line, event);
            }
        }
    }

    fn event(&mut self, line: Line, event: Event) {
        if !self.trace.around(line, &event) {
            return;
        }
        let from =
            Arrival { line, at: event.time, gateway: event.gateway, token: event.wire.token };
        match event.what {
            What::Heard(heard) => self.heard(from, *heard),
            What::Ordered(ordered) => self.ordered(from, *ordered),
            What::Outcome(outcome) => self.outcome(from, *outcome),
            What::Said(said) => self.said(from, *said),
            _ => {}
        }
    }

    /// All that is in one line has one place in the order of time.
    fn line(&mut self, place: Position) -> Line {
        let goes_on = |last: Position| place.is_with(last) && place.index > last.index;
        if !self.last.replace(place).is_some_and(goes_on) {
            self.taken += 1;
        }
        Line { order: self.taken - 1, place }
    }

    fn node(&mut self, index: usize) -> Option<&mut NodeTrace> {
        self.trace.nodes.get_mut(index)
    }

    // --- sessions -------------------------------------------------------------------------

    fn claimed_session(&mut self, index: usize, kind: ClaimKind, claim: &Claim) {
        let Some(dev_addr) = claim.dev_addr else { return };
        let keys = match (&claim.nwk_s_key, &claim.f_nwk_s_int_key, &claim.s_nwk_s_int_key) {
            (_, Some(forwarding), Some(serving)) => SessionKeys::V1_1 {
                f_nwk_s_int_key: forwarding.clone(),
                s_nwk_s_int_key: serving.clone(),
                nwk_s_enc_key: match &claim.nwk_s_enc_key {
                    Some(key) => key.clone(),
                    None => return,
                },
                app_s_key: claim.app_s_key.clone(),
            },
            (Some(nwk_s_key), _, _) => SessionKeys::V1_0 {
                nwk_s_key: nwk_s_key.clone(),
                app_s_key: claim.app_s_key.clone(),
            },
            _ => return,
        };
        let rule = if matches!(keys, SessionKeys::V1_1 { .. }) { Rule::V1_1 } else { Rule::V1_0 };
        let candidate = Candidate { keys, rule, root: None, lawful: true };
        let counters = Counters::under_way(claim.last_fcnt_up, claim.next_fcnt_down);
        let session = Session::new(dev_addr, Origin::Claim(kind), vec![candidate], counters);
        self.add_session(index, session);
    }

    fn add_session(&mut self, index: usize, session: Session) {
        let dev_addr = session.dev_addr;
        let Some(node) = self.node(index) else { return };
        let place = node.sessions.push(session);
        self.weigh(shed::SESSION);
        let places = self.sessions.entry(dev_addr).or_default();
        places.push((index, place));
        let own = places.iter().filter(|(node, _)| *node == index).count();
        if own > SAME_ADDRESS
            && let Some(oldest) = places.iter().position(|(node, _)| *node == index)
        {
            places.remove(oldest);
        }
    }

    /// Returns in which of the sessions a frame holds, and under what: the newest first, and with counters
    /// that are near in all of them before any is searched farther.
    fn verify(
        &mut self,
        places: &[(usize, usize)],
        frame: &DataFrame,
        tx_dr: impl Fn(&Self, usize) -> Option<u8>,
    ) -> Option<(usize, usize, Held)> {
        // Half a MIC holds under the keys of a session that shares them with another.
        let mut half = None;
        for &(index, place) in places.iter().rev() {
            let tx_dr = tx_dr(self, index);
            let held = self.session(index, place).and_then(|s| s.verify(frame, tx_dr));
            match held {
                Some(held) if !held.half => return Some((index, place, held)),
                Some(held) => half = half.or(Some((index, place, held))),
                None => {}
            }
        }
        if half.is_some() {
            return half;
        }
        places.iter().rev().find_map(|&(index, place)| {
            let tx_dr = tx_dr(self, index);
            let mut left = self.searches_left.get(&index).copied().unwrap_or(SEARCHES_OF_A_NODE);
            let held = self.session(index, place)?.search(frame, tx_dr, &mut left);
            self.searches_left.insert(index, left);
            Some((index, place, held?))
        })
    }

    fn session(&mut self, index: usize, place: usize) -> Option<&mut Session> {
        self.trace.nodes.get_mut(index)?.sessions.at_mut(place)
    }

    /// The sessions that an accept may have begun, lawful derivations first.
    fn session_of(&self, index: usize, attempt: usize, answer: usize) -> Option<Session> {
        let node = self.trace.nodes.get(index)?;
        let asked = node.attempts.at(attempt)?;
        let openings = &asked.answers.get(answer)?.openings;
        let nonce = asked.ask.nonce()?;
        let join_eui = asked.ask.join_eui().or(node.join_eui)?;
        let accept = &openings.first()?.opened.accept;
        let opt_neg = accept.dl_settings.opt_neg();
        let mut candidates: Vec<Candidate> = Vec::new();
        for opening in openings {
            let Some(root) = opening.key.resolve(self.roster) else { continue };
            let as_nwk = NwkKey::from(root.key().clone());
            let v1_0 = derive::session_1_0(&as_nwk, accept.join_nonce, accept.net_id, nonce);
            // In 1.1 the AppSKey comes from the AppKey of the same claim, or else of any.
            let app_key = self.app_key_beside(&opening.key);
            let v1_1 = derive::session_1_1(&as_nwk, app_key, accept.join_nonce, join_eui, nonce);
            for (keys, rule) in [(v1_0, Rule::V1_0), (v1_1, Rule::V1_1)] {
                let lawful = (rule == Rule::V1_1) == (opt_neg && opening.rule == Rule::V1_1);
                candidates.push(Candidate { keys, rule, root: Some(opening.key), lawful });
            }
        }
        candidates.sort_by_key(|c| !c.lawful);
        let origin = Origin::Accept { attempt, answer };
        let counters = Counters::of_a_join();
        Some(Session::new(accept.dev_addr, origin, candidates, counters))
    }

    fn app_key_beside(&self, key: &KeyRef) -> Option<&AppKey> {
        let node = self.roster.nodes.get(key.node)?;
        let order = [ClaimKind::Firmware, key.claim, ClaimKind::Record];
        order.into_iter().find_map(|kind| {
            // An AppKey that is the key just used is the 1.0.x root under its older name.
            let own = node.claim(kind)?.app_key.as_ref()?;
            (kind != key.claim || key.role == Role::NwkKey).then_some(own)
        })
    }
}
