//! Every node's ladder while frames come: climbed again when something of the node arrived.
//!
//! Of each node only the latest exchanges and data are kept, and so memory is bounded however long the tap
//! runs; what is forgotten makes a verdict milder, never harsher, for a ladder proves from what it has.

mod node;

use std::{
    collections::{HashMap, VecDeque},
    sync::atomic::AtomicBool,
    time::Instant,
};

use jiff::{SignedDuration, Timestamp};

use self::node::Kept;
use super::recent::Recent;
use crate::{
    frame::Frame,
    id::{DevAddr, DevEui, Eui64},
    intake::{Datagram, Kind, Origin, Unit, When},
    ladder::{self, Diagnosis, Outcome, Rung, Verdict, near_miss::Effort},
    reading::Reading,
    region::Plan,
    roster::Roster,
    trace::Tracer,
};

/// How a node's ladder stands.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct Standing {
    /// How its joining ended so far.
    pub outcome: Outcome,
    /// The first rung that is broken.
    pub broken: Option<Rung>,
    /// The causes, by id.
    pub causes: Vec<&'static str>,
}

impl Standing {
    fn of(diagnosis: &Diagnosis) -> Self {
        Self {
            outcome: diagnosis.outcome,
            broken: diagnosis.first_broken(),
            causes: diagnosis.causes.iter().map(|verdict| verdict.cause.id).collect(),
        }
    }
}

/// A node's ladder stands otherwise than before.
#[derive(Clone, Debug)]
pub struct Change {
    /// When.
    pub at: Timestamp,
    /// How it stood; `None` where nothing was known of the node.
    pub before: Option<Standing>,
    /// How it stands.
    pub now: Standing,
    /// All that there is to say.
    pub diagnosis: Diagnosis,
}

/// What came of climbing a ladder.
#[derive(Debug)]
pub(super) enum Climbed {
    /// None was due.
    None,
    /// It stands as before.
    Same,
    /// It stands otherwise.
    Changed(Box<Change>),
}

/// A node of the roster by its place, or a stranger.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
enum Who {
    Roster(usize),
    Stranger(DevEui),
}

/// The ladders of all nodes.
#[derive(Debug)]
pub(super) struct Ladders<'r> {
    roster: &'r Roster,
    plan: Option<&'static Plan>,
    by_name: HashMap<&'r str, usize>,
    by_eui: HashMap<DevEui, usize>,
    nodes: Recent<Who, Kept>,
    /// Whose sessions have that address.
    addresses: Recent<DevAddr, Who>,
    /// Who asked to join, latest last.
    asked: VecDeque<(Timestamp, Option<Eui64>, Option<u32>, Who)>,
    /// Whom a downlink is for, until the gateway says what it did with it.
    sendings: Recent<(Option<Eui64>, u16), Vec<Who>>,
    /// What tells of a gateway whether its server is heard.
    links: Recent<Option<Eui64>, Link>,
    due: VecDeque<Who>,
    rest_until: Option<Instant>,
}

/// The latest of a gateway's datagrams without frames.
#[derive(Debug, Default)]
struct Link {
    pulls: VecDeque<Datagram>,
    push_ack: Option<Datagram>,
    pull_ack: Option<Datagram>,
}

impl<'r> Ladders<'r> {
    pub(super) fn new(roster: &'r Roster, plan: Option<&'static Plan>) -> Self {
        let names = roster.nodes.iter().enumerate().map(|(i, node)| (node.name.as_str(), i));
        let mut by_eui = HashMap::new();
        for (i, node) in roster.nodes.iter().enumerate() {
            for (_, claim) in node.claims() {
                if let Some(eui) = claim.dev_eui {
                    by_eui.entry(eui).or_insert(i);
                }
            }
        }
        let mut addresses = Recent::new(MOST_ADDRESSES);
        for (i, node) in roster.nodes.iter().enumerate() {
            for dev_addr in node.claims().filter_map(|(_, claim)| claim.dev_addr) {
                addresses.add(dev_addr, Who::Roster(i));
            }
        }
        Self {
            roster,
            plan,
            by_name: names.collect(),
            by_eui,
            nodes: Recent::new(roster.nodes.len() + MOST_STRANGERS),
            addresses,
            asked: VecDeque::new(),
            sendings: Recent::new(MOST_SENDINGS),
            links: Recent::new(MOST_LINKS),
            due: VecDeque::new(),
            rest_until: None,
        }
    }

    /// Takes a frame of a datagram with what keys told of it.
    pub(super) fn frame(&mut self, datagram: &Datagram, origin: &Origin, reading: &Reading) {
        match (origin, &reading.decoded.frame) {
            (Origin::Uplink(up), Some(frame)) => {
                let Some(who) = self.sender(frame, reading) else { return };
                let mut alone = bare(datagram);
                alone.rxpk.push(up.clone());
                let asks = matches!(frame, Frame::JoinRequest(_) | Frame::RejoinRequest(_));
                if let (true, Some(at)) = (asks, datagram.at) {
                    self.asked.push_back((at, datagram.gateway, up.tmst, who));
                    if self.asked.len() > MOST_ASKED {
                        self.asked.pop_front();
                    }
                }
                self.keep(who, alone, asks);
            }
            (Origin::Downlink(down), Some(frame)) => {
                let for_whom = match frame {
                    Frame::JoinAccept(_) => self.answered(datagram, down.when, reading),
                    Frame::Data(data) => {
                        self.addresses.get(&data.dev_addr).copied().into_iter().collect()
                    }
                    _ => Vec::new(),
                };
                if let Some(token) = datagram.token {
                    self.sendings.add((datagram.gateway, token), for_whom.clone());
                }
                for who in for_whom {
                    let mut alone = bare(datagram);
                    alone.txpk = Some(down.clone());
                    self.keep(who, alone, matches!(frame, Frame::JoinAccept(_)));
                }
            }
            _ => {}
        }
    }

    /// Takes what a datagram tells beside frames.
    pub(super) fn datagram(&mut self, datagram: &Datagram) {
        if datagram.kind == Kind::TxAck {
            let token = datagram.token.unwrap_or_default();
            let for_whom = self.sendings.get(&(datagram.gateway, token)).cloned();
            for who in for_whom.into_iter().flatten() {
                let mut alone = bare(datagram);
                alone.ack.clone_from(&datagram.ack);
                self.keep(who, alone, true);
            }
        }
        let plain = matches!(datagram.kind, Kind::PullData | Kind::PushAck | Kind::PullAck);
        if !plain {
            return;
        }
        if self.links.meet(&datagram.gateway).is_none() {
            self.links.add(datagram.gateway, Link::default());
        }
        let Some(link) = self.links.get_mut(&datagram.gateway) else { return };
        let alone = bare(datagram);
        match datagram.kind {
            Kind::PushAck => link.push_ack = Some(alone),
            Kind::PullAck => link.pull_ack = Some(alone),
            _ => {
                link.pulls.push_back(alone);
                if link.pulls.len() > 2 {
                    link.pulls.pop_front();
                }
            }
        }
    }

    /// Returns whether a ladder waits to be climbed.
    pub(super) fn is_due(&self) -> bool {
        !self.due.is_empty()
    }

    /// Climbs one ladder, if one is due and it is time for it; with `last`, whatever the time.
    pub(super) fn climb(&mut self, now: Timestamp, last: bool) -> Climbed {
        let clock = Instant::now();
        if !last && self.rest_until.is_some_and(|until| clock < until) {
            return Climbed::None;
        }
        for _ in 0..self.due.len() {
            let Some(who) = self.due.pop_front() else { break };
            let Some(node) = self.nodes.get_mut(&who) else { continue };
            if !last && !node.is_ripe(clock) {
                self.due.push_back(who);
                continue;
            }
            node.climbed(clock);
            let change = self.climb_one(who, clock, now, last);
            // Ladders get a quarter of the time at most, whoever floods.
            self.rest_until = Some(Instant::now() + clock.elapsed() * 3);
            return change.map_or(Climbed::Same, |change| Climbed::Changed(Box::new(change)));
        }
        Climbed::None
    }

    fn climb_one(
        &mut self,
        who: Who,
        clock: Instant,
        now: Timestamp,
        last: bool,
    ) -> Option<Change> {
        let diagnosis = self.diagnose(who, now)?;
        let node = self.nodes.get_mut(&who)?;
        let standing = Standing::of(&diagnosis);
        let waits = node.awaits_answer(now);
        if let (Some(left), false) = (waits, last) {
            node.look_again(clock, left);
            self.due.push_back(who);
        }
        // Within seconds of a request, that no accept came yet is no finding.
        let unanswered = |verdict: &Verdict| verdict.rung == Some(Rung::Answered);
        if waits.is_some()
            && (standing.broken == Some(Rung::Answered) || diagnosis.causes.iter().any(unanswered))
        {
            return None;
        }
        if node.standing.as_ref() == Some(&standing) {
            return None;
        }
        let before = node.standing.replace(standing.clone());
        Some(Change { at: now, before, now: standing, diagnosis })
    }

    fn sender(&self, frame: &Frame, reading: &Reading) -> Option<Who> {
        let proven = match &reading.found.mic {
            crate::reading::MicVerdict::Holds(proof) => proof.source.node.as_deref(),
            _ => None,
        };
        if let Some(place) = proven.and_then(|name| self.by_name.get(name)) {
            return Some(Who::Roster(*place));
        }
        let by_eui = |eui| self.by_eui.get(&eui).map_or(Who::Stranger(eui), |i| Who::Roster(*i));
        match frame {
            Frame::JoinRequest(request) => Some(by_eui(request.dev_eui)),
            Frame::RejoinRequest(request) => request.body.dev_eui().map(by_eui),
            Frame::Data(data) => self.addresses.get(&data.dev_addr).copied(),
            Frame::JoinAccept(_) | Frame::Proprietary(_) => None,
        }
    }

    /// Returns whose request a Join-Accept may answer.
    fn answered(&mut self, datagram: &Datagram, when: When, reading: &Reading) -> Vec<Who> {
        let proven = match &reading.found.mic {
            crate::reading::MicVerdict::Holds(proof) => proof.source.node.as_deref(),
            _ => None,
        };
        if let Some(place) = proven.and_then(|name| self.by_name.get(name)) {
            let who = Who::Roster(*place);
            if let Some(opened) = &reading.found.accept {
                self.addresses.add(opened.accept.accept.dev_addr, who);
            }
            return vec![who];
        }
        let Some(at) = datagram.at else { return Vec::new() };
        let recent = self
            .asked
            .iter()
            .rev()
            .take_while(|(asked, ..)| at.duration_since(*asked) <= ANSWERED_WITHIN);
        let recent: Vec<_> =
            recent.filter(|(_, gateway, ..)| *gateway == datagram.gateway).collect();
        let in_slot = |tmst: &Option<u32>| match (when, tmst) {
            (When::Counter(slot), Some(tmst)) => SLOTS_US.contains(&slot.wrapping_sub(*tmst)),
            _ => false,
        };
        let mut whom: Vec<Who> = Vec::new();
        let fitting = recent.iter().filter(|(_, _, tmst, _)| in_slot(tmst));
        for (.., who) in fitting.chain(&recent) {
            if whom.len() < MOST_ANSWERED && !whom.contains(who) {
                whom.push(*who);
            }
        }
        whom
    }

    fn keep(&mut self, who: Who, datagram: Datagram, of_join: bool) {
        if self.nodes.meet(&who).is_none() {
            let room = (KEPT_OF_ALL / self.roster.nodes.len().max(1)).clamp(8, 32);
            if let Some((forgotten, _)) = self.nodes.add(who, Kept::new(room)) {
                self.due.retain(|due| *due != forgotten);
            }
        }
        if let Some(node) = self.nodes.get_mut(&who)
            && node.keep(datagram, of_join)
        {
            self.due.push_back(who);
        }
    }

    fn diagnose(&self, who: Who, now: Timestamp) -> Option<Diagnosis> {
        let node = self.nodes.get(&who)?;
        // Another node's key is looked for where that is cheap.
        let alone;
        let (roster, place) = match who {
            _ if self.roster.nodes.len() <= SMALL_ROSTER => (
                self.roster,
                match who {
                    Who::Roster(place) => Some(place),
                    Who::Stranger(_) => None,
                },
            ),
            Who::Roster(place) => {
                let nodes = self.roster.nodes.get(place).cloned().into_iter().collect();
                alone = Roster { nodes, ..self.without_nodes() };
                (&alone, Some(0))
            }
            Who::Stranger(_) => {
                alone = self.without_nodes();
                (&alone, None)
            }
        };
        let mut tracer = Tracer::new(roster);
        let gateways = node.gateways();
        for link in gateways.iter().filter_map(|gateway| self.links.get(gateway)) {
            for datagram in link.pulls.iter().chain(&link.push_ack).chain(&link.pull_ack) {
                tracer.push(0, datagram);
            }
        }
        for datagram in node.datagrams() {
            tracer.push(0, datagram);
        }
        if matches!(who, Who::Stranger(_)) {
            // A stranger may be a node of the roster under another name, if that one is not heard.
            for place in 0..roster.nodes.len() {
                let heard = self.nodes.get(&Who::Roster(place)).and_then(Kept::latest);
                if let Some(datagram) = heard {
                    tracer.push(0, datagram);
                }
            }
        }
        // Until now nothing else was heard.
        tracer.take(0, empty(Kind::PullData, Some(now)));
        let trace = tracer.finish();
        let place = place.or_else(|| {
            let Who::Stranger(eui) = who else { return None };
            let is = |n: &crate::trace::NodeTrace| n.index.is_none() && n.dev_eui == Some(eui);
            trace.nodes.iter().position(is)
        })?;
        let effort = Effort { max_digits: 1, stop: &NEVER, progress: None };
        let options = ladder::Options { plan: self.plan, effort };
        ladder::diagnose_node(&trace, roster, place, options)
    }

    fn without_nodes(&self) -> Roster {
        Roster {
            region: self.roster.region,
            sub_band: self.roster.sub_band,
            gateways: self.roster.gateways.clone(),
            ..Roster::default()
        }
    }
}

/// Returns a datagram without its frames and reports.
fn bare(datagram: &Datagram) -> Datagram {
    let (gateway, token) = (datagram.gateway, datagram.token);
    Datagram { gateway, token, line: datagram.line, ..empty(datagram.kind, datagram.at) }
}

const fn empty(kind: Kind, at: Option<Timestamp>) -> Datagram {
    Datagram {
        line: 0,
        unit: Unit::Packet,
        at,
        gateway: None,
        kind,
        token: None,
        rxpk: Vec::new(),
        txpk: None,
        ack: None,
        stat: None,
        notes: Vec::new(),
    }
}

static NEVER: AtomicBool = AtomicBool::new(false);
/// A request is answered within this time, or not at all.
const ANSWERED_WITHIN: SignedDuration = SignedDuration::from_secs(20);
/// Where an accept lies after its request: RX1 and RX2 of a join, 5 s and 6 s (regional parameters), and
/// slips of some seconds.
const SLOTS_US: std::ops::RangeInclusive<u32> = 4_000_000..=8_000_000;
/// A roster this short is at hand as a whole for every node.
const SMALL_ROSTER: usize = 64;
/// Strangers whose frames are kept.
const MOST_STRANGERS: usize = 1_024;
/// Addresses whose nodes are known.
const MOST_ADDRESSES: usize = 65_536;
/// Requests that an accept may answer.
const MOST_ASKED: usize = 1_024;
/// Downlinks that wait for the gateway's word.
const MOST_SENDINGS: usize = 4_096;
/// Nodes that one accept is kept for, where no key says whose it is.
const MOST_ANSWERED: usize = 8;
/// Gateways whose link to the server is known.
const MOST_LINKS: usize = 4_096;
/// Datagrams that are kept of all nodes of a roster.
const KEPT_OF_ALL: usize = 131_072;
