//! The tracer: datagrams in, a trace out.

use std::collections::{HashMap, VecDeque};

use jiff::Timestamp;

use super::{
    Ack, Answer, Ask, Attempt, Data, Delay, KeyRef, Line, NodeTrace, Opening, Origin, Role,
    RootKey, Rule, Sending, Session, Sighting, Trace, Transmission, keys,
    session::{Candidate, Held},
};
use crate::{
    crypto::{
        cipher::{self, AcceptKey},
        derive::{self, SessionKeys},
        mic,
    },
    frame::{
        DataFrame, Direction, FType, Field, Frame, OpenedJoinAccept, SealedJoinAccept, decode,
    },
    id::{DevAddr, DevEui, Eui64, JoinEui},
    intake::{Crc, Datagram, Downlink, Uplink, When},
    key::{AppKey, NwkKey},
    roster::{Claim, ClaimKind, Roster},
};

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
/// An accept is looked for among requests this recent.
const ANSWER_US: i64 = 20_000_000;
/// Slots this far after a request can still be meant for it.
const ANSWER_SLOT_US: u32 = 16_000_000;
/// Frames remembered for the folding of copies.
const REMEMBERED: usize = 4_096;
/// Requests remembered for the pairing of accepts.
const OPEN_REQUESTS: usize = 1_024;
/// Downlinks that wait for their acknowledgement.
const OPEN_SENDINGS: usize = 4_096;
/// Sessions of one node under one address that a frame is tried in: the newest.
const SAME_ADDRESS: usize = 32;
/// Frames of one node whose counter may be searched to the end.
const DEEP_SEARCHES: u8 = 32;
/// Keys of other nodes that are tried on what a node's own keys do not explain.
const STRANGER_TRIALS: usize = 20_000;

/// Takes datagrams and sorts them by time and by node.
#[derive(Debug)]
pub struct Tracer<'r> {
    roster: &'r Roster,
    trace: Trace,
    /// What was pushed, and when it was captured: its own time, or else that of the one before.
    pushed: Vec<(Option<Timestamp>, u16, Datagram)>,
    /// Places in `trace.nodes` of the strangers, by DevEUI.
    strangers: HashMap<DevEui, usize>,
    by_dev_eui: HashMap<Eui64, Vec<usize>>,
    sessions: HashMap<DevAddr, Vec<(usize, usize)>>,
    recent: HashMap<Vec<u8>, Slot>,
    recent_order: VecDeque<Vec<u8>>,
    requests: VecDeque<(usize, usize)>,
    sendings: VecDeque<(Option<u16>, Option<Eui64>, SentSlot)>,
    /// What is left of the searches of each node.
    deep_left: HashMap<usize, u8>,
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

impl<'r> Tracer<'r> {
    /// Returns a tracer that knows the keys of a roster.
    pub fn new(roster: &'r Roster) -> Self {
        let mut tracer = Self {
            roster,
            trace: Trace::default(),
            pushed: Vec::new(),
            strangers: HashMap::new(),
            by_dev_eui: HashMap::new(),
            sessions: HashMap::new(),
            recent: HashMap::new(),
            recent_order: VecDeque::new(),
            requests: VecDeque::new(),
            sendings: VecDeque::new(),
            deep_left: HashMap::new(),
        };
        for (index, node) in roster.nodes.iter().enumerate() {
            let mut trace = NodeTrace { index: Some(index), ..NodeTrace::default() };
            for (_, claim) in node.claims() {
                trace.dev_eui = trace.dev_eui.or(claim.dev_eui);
                trace.join_eui = trace.join_eui.or(claim.join_eui);
                if let Some(DevEui(eui)) = claim.dev_eui {
                    let places = tracer.by_dev_eui.entry(eui).or_default();
                    if !places.contains(&index) {
                        places.push(index);
                    }
                }
            }
            tracer.trace.nodes.push(trace);
            for (kind, claim) in node.claims() {
                tracer.claimed_session(index, kind, claim);
            }
        }
        tracer
    }

    /// Takes one datagram.
    ///
    /// Captures of several gateways may come one after another: they are put in the order of
    /// time. Datagrams without a time stay behind the one that they were pushed after.
    pub fn push(&mut self, source: u16, datagram: &Datagram) {
        let before = self.pushed.last().and_then(|(at, ..)| *at);
        self.pushed.push((datagram.at.or(before), source, datagram.clone()));
    }

    /// Returns the trace of all that was pushed.
    pub fn finish(mut self) -> Trace {
        let mut pushed = std::mem::take(&mut self.pushed);
        pushed.sort_by_key(|(at, ..)| *at);
        for (order, (_, source, datagram)) in (0..).zip(&pushed) {
            self.datagram(
                Line { order, source: *source, unit: datagram.unit, number: datagram.line },
                datagram,
            );
        }
        self.trace
    }

    fn datagram(&mut self, line: Line, datagram: &Datagram) {
        if let Some(at) = datagram.at {
            self.trace.span = Some(match self.trace.span {
                Some((first, last)) => (first.min(at), last.max(at)),
                None => (at, at),
            });
        }
        self.trace.gateways.entry(datagram.gateway).or_default().datagram(line, datagram);
        for up in &datagram.rxpk {
            self.heard(line, datagram.at, datagram.gateway, up);
        }
        if let Some(down) = &datagram.txpk {
            self.sent(line, datagram, down);
        }
        if datagram.kind == crate::intake::Kind::TxAck {
            self.acknowledged(line, datagram);
        }
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
        let mut session = Session::new(dev_addr, Origin::Claim(kind), vec![candidate]);
        session.start_at(claim.last_fcnt_up, claim.next_fcnt_down.map(|n| n.saturating_sub(1)));
        self.add_session(index, session);
    }

    fn add_session(&mut self, index: usize, session: Session) {
        let dev_addr = session.dev_addr;
        let Some(node) = self.node(index) else { return };
        node.sessions.push(session);
        let place = node.sessions.len() - 1;
        let places = self.sessions.entry(dev_addr).or_default();
        places.push((index, place));
        let own = places.iter().filter(|(node, _)| *node == index).count();
        if own > SAME_ADDRESS
            && let Some(oldest) = places.iter().position(|(node, _)| *node == index)
        {
            places.remove(oldest);
        }
    }

    /// Returns under what a frame holds in one session, if at all.
    fn verify(
        &mut self,
        (index, place): (usize, usize),
        frame: &DataFrame,
        tx_dr: Option<u8>,
    ) -> Option<Held> {
        let session = self.trace.nodes.get_mut(index)?.sessions.get_mut(place)?;
        let deep_left = self.deep_left.entry(index).or_insert(DEEP_SEARCHES);
        session.verify(frame, tx_dr, deep_left)
    }

    /// The sessions that an accept may have begun, lawful derivations first.
    fn session_of(&self, index: usize, attempt: usize, answer: usize) -> Option<Session> {
        let node = self.trace.nodes.get(index)?;
        let asked = node.attempts.get(attempt)?;
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
        Some(Session::new(accept.dev_addr, origin, candidates))
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

    // --- uplinks --------------------------------------------------------------------------

    fn heard(&mut self, line: Line, at: Option<Timestamp>, gateway: Option<Eui64>, up: &Uplink) {
        let gateway_trace = self.trace.gateways.entry(gateway).or_default();
        if up.crc == Crc::Bad {
            gateway_trace.crc_bad += 1;
            self.trace.crc_bad += 1;
            return;
        }
        let sighting = Sighting::new(line, at, gateway, up);
        gateway_trace.heard(&sighting);
        self.trace.frames += 1;
        let Some(sighting) = self.fold(&up.octets, sighting) else { return };
        let decoded = decode(&up.octets);
        let frame = decoded.frame.clone();
        let heard = Transmission::new(decoded, sighting);
        let slot = match frame {
            Some(Frame::JoinRequest(request)) if request.surplus.is_empty() => {
                self.asked(Ask::Join(request), heard)
            }
            Some(Frame::RejoinRequest(request)) => self.asked(Ask::Rejoin(request), heard),
            Some(Frame::Data(frame)) if frame.direction() == Direction::Uplink => {
                self.data_up(frame, heard)
            }
            _ => self.misshapen(heard),
        };
        if let Some(slot) = slot {
            self.remember(up.octets.clone(), slot);
        }
    }

    /// Adds the sighting to a transmission that it is a copy of; gives it back if it is none.
    fn fold(&mut self, octets: &[u8], sighting: Sighting) -> Option<Sighting> {
        let Some(&slot) = self.recent.get(octets) else { return Some(sighting) };
        let Some(heard) = self.transmission(slot) else { return Some(sighting) };
        if is_copy(heard, &sighting) {
            heard.add(sighting);
            return None;
        }
        Some(sighting)
    }

    fn transmission(&mut self, slot: Slot) -> Option<&mut Transmission> {
        match slot {
            Slot::Attempt(node, i) => Some(&mut self.node(node)?.attempts.get_mut(i)?.heard),
            Slot::Misshapen(node, i) => self.node(node)?.misshapen.get_mut(i),
            Slot::Data(node, session, i) => {
                let seen = self.node(node)?.sessions.get_mut(session)?.frames.get_mut(i)?;
                transmission_of(&mut seen.data)
            }
            Slot::Unverified(node, i) => transmission_of(self.node(node)?.unverified.get_mut(i)?),
        }
    }

    fn remember(&mut self, octets: Vec<u8>, slot: Slot) {
        if self.recent.insert(octets.clone(), slot).is_none() {
            self.recent_order.push_back(octets);
            if self.recent_order.len() > REMEMBERED
                && let Some(old) = self.recent_order.pop_front()
            {
                self.recent.remove(&old);
            }
        }
    }

    fn asked(&mut self, ask: Ask, heard: Transmission) -> Option<Slot> {
        let (index, holds_under) = self.attribute(&ask);
        let node = self.node(index)?;
        if let Some(dev_eui) = ask.dev_eui() {
            node.dev_eui = Some(dev_eui);
        }
        node.join_eui = ask.join_eui().or(node.join_eui);
        node.attempts.push(Attempt { ask, heard, holds_under, answers: Vec::new() });
        let place = node.attempts.len() - 1;
        self.requests.push_back((index, place));
        if self.requests.len() > OPEN_REQUESTS {
            self.requests.pop_front();
        }
        Some(Slot::Attempt(index, place))
    }

    /// Finds the node that sent a request: by DevEUI, by the key that signs it, by likeness.
    fn attribute(&mut self, ask: &Ask) -> (usize, Vec<KeyRef>) {
        let Some(dev_eui) = ask.dev_eui() else {
            return (self.stranger(DevEui::default()), vec![]);
        };
        let named = self.by_dev_eui.get(&dev_eui.0).cloned().unwrap_or_default();
        for &index in &named {
            let holds = self.keys_that_sign(index, ask);
            if !holds.is_empty() {
                return (index, holds);
            }
        }
        let mut by_key = Vec::new();
        let mut trials = 0;
        for index in 0..self.roster.nodes.len() {
            if named.contains(&index) {
                continue;
            }
            by_key.extend(self.keys_that_sign(index, ask));
            trials += 1;
            if trials == STRANGER_TRIALS {
                break;
            }
        }
        if let Some(&index) = named.first() {
            return (index, by_key);
        }
        // The MIC covers the EUIs as sent: it names the node even when its EUI is wrong.
        let nearest = by_key.iter().min_by_key(|key| self.likeness(key.node, ask)).map(|k| k.node);
        if let Some(index) = nearest {
            by_key.retain(|key| key.node == index);
            return (index, by_key);
        }
        let alike: Vec<usize> =
            (0..self.roster.nodes.len()).filter(|&i| self.likeness(i, ask) <= 2).collect();
        if let [index] = alike[..] {
            return (index, Vec::new());
        }
        (self.stranger(dev_eui), Vec::new())
    }

    fn stranger(&mut self, dev_eui: DevEui) -> usize {
        if let Some(&index) = self.strangers.get(&dev_eui) {
            return index;
        }
        self.trace.nodes.push(NodeTrace::default());
        let index = self.trace.nodes.len() - 1;
        self.strangers.insert(dev_eui, index);
        index
    }

    /// How far the identity sent is from the node's claims: digits that differ, 0 for a reversal
    /// or an exchange of the two, large for strangers.
    fn likeness(&self, index: usize, ask: &Ask) -> u32 {
        let Some(node) = self.roster.nodes.get(index) else { return u32::MAX };
        let (Some(DevEui(dev)), join) = (ask.dev_eui(), ask.join_eui()) else { return u32::MAX };
        node.claims()
            .filter_map(|(_, claim)| {
                let DevEui(own) = claim.dev_eui?;
                let exchanged = claim.join_eui.map(|j| j.0) == Some(dev)
                    && join.map(|j| j.0) == Some(own)
                    && dev != own;
                if exchanged || own == dev || own.bytes_reversed() == dev {
                    return Some(0);
                }
                Some(digits_apart(own, dev))
            })
            .min()
            .unwrap_or(u32::MAX)
    }

    fn keys_that_sign(&self, index: usize, ask: &Ask) -> Vec<KeyRef> {
        let Some(node) = self.roster.nodes.get(index) else { return Vec::new() };
        let keys = keys::root_keys(index, node);
        match ask {
            Ask::Join(request) => keys
                .into_iter()
                .filter(|(_, key)| {
                    let computed = match key {
                        RootKey::App(key) => mic::join_request(*key, request),
                        RootKey::Nwk(key) => mic::join_request(*key, request),
                    };
                    computed == request.mic
                })
                .map(|(at, _)| at)
                .collect(),
            Ask::Rejoin(request) => {
                let Some(dev_eui) = request.body.dev_eui() else { return Vec::new() };
                let session_keys: Vec<_> = self
                    .trace
                    .nodes
                    .get(index)
                    .into_iter()
                    .flat_map(|n| n.sessions.iter().rev())
                    .flat_map(|s| &s.candidates)
                    .collect();
                keys.into_iter()
                    .filter(|(at, key)| {
                        let js = derive::js_int_key(&NwkKey::from(key.key().clone()), dev_eui);
                        mic::rejoin_request(mic::RejoinKey::JoinServer(&js), request) == request.mic
                            || session_keys.iter().any(|c| match &c.keys {
                                SessionKeys::V1_1 { s_nwk_s_int_key: key, .. } => {
                                    c.root == Some(*at)
                                        && mic::rejoin_request(
                                            mic::RejoinKey::Session(key),
                                            request,
                                        ) == request.mic
                                }
                                SessionKeys::V1_0 { .. } => false,
                            })
                    })
                    .map(|(at, _)| at)
                    .collect()
            }
        }
    }

    fn data_up(&mut self, frame: DataFrame, heard: Transmission) -> Option<Slot> {
        let places = self.sessions.get(&frame.dev_addr).cloned();
        let Some(places) = places else {
            *self.trace.foreign_data.entry(frame.dev_addr).or_default() += 1;
            return None;
        };
        for &(index, place) in places.iter().rev() {
            let tx_dr = self.tx_dr(index, &heard);
            if let Some(held) = self.verify((index, place), &frame, tx_dr) {
                let session = self.node(index)?.sessions.get_mut(place)?;
                session.push(Data::Up { frame, heard }, held);
                let at = session.frames.len() - 1;
                return Some(Slot::Data(index, place, at));
            }
        }
        let &(index, _) = places.last()?;
        let node = self.node(index)?;
        node.unverified.push(Data::Up { frame, heard });
        Some(Slot::Unverified(index, node.unverified.len() - 1))
    }

    fn tx_dr(&self, index: usize, heard: &Transmission) -> Option<u8> {
        let node = self.roster.nodes.get(index)?;
        let plan = self.roster.plan_for(node)?;
        plan.dr_of(Direction::Uplink, heard.first().modulation?)
    }

    /// A frame that is neither a whole request nor data: kept with the node it may belong to.
    fn misshapen(&mut self, heard: Transmission) -> Option<Slot> {
        let decoded = &heard.decoded;
        if decoded.mhdr()?.ftype() != FType::JoinRequest {
            return None;
        }
        let stated = decoded
            .octets_of(Field::DevEui)
            .and_then(|octets| <[u8; 8]>::try_from(octets).ok())
            .and_then(|octets| self.by_dev_eui.get(&Eui64::from_wire(octets))?.first().copied());
        // A field left out or put in moves the DevEUI: look for it anywhere.
        let index = stated.or_else(|| self.named_within(&decoded.octets))?;
        let node = self.node(index)?;
        node.misshapen.push(heard);
        Some(Slot::Misshapen(index, node.misshapen.len() - 1))
    }

    /// The only node of the roster whose DevEUI stands somewhere in these octets.
    fn named_within(&self, octets: &[u8]) -> Option<usize> {
        let places = octets.windows(8).filter_map(|w| <[u8; 8]>::try_from(w).ok());
        let mut named = places
            .flat_map(|w| [Eui64::from_wire(w), Eui64::new(w)])
            .filter_map(|eui| self.by_dev_eui.get(&eui)?.first().copied());
        let first = named.next()?;
        named.all(|other| other == first).then_some(first)
    }

    // --- downlinks ------------------------------------------------------------------------

    fn sent(&mut self, line: Line, datagram: &Datagram, down: &Downlink) {
        self.trace.frames += 1;
        let decoded = decode(&down.octets);
        let frame = decoded.frame.clone();
        let sending = Sending {
            line,
            at: datagram.at,
            gateway: datagram.gateway,
            decoded,
            when: down.when,
            freq_hz: down.freq_hz,
            modulation: down.modulation,
            power_dbm: down.power_dbm,
            inverted: down.inverted,
            token: datagram.token,
            ack: None,
        };
        let slot = match frame {
            Some(Frame::JoinAccept(sealed)) => self.accept(&sealed, sending),
            Some(Frame::Data(frame)) if frame.direction() == Direction::Downlink => {
                self.data_down(frame, sending)
            }
            _ => None,
        };
        if let Some(slot) = slot {
            self.sendings.push_back((datagram.token, datagram.gateway, slot));
            if self.sendings.len() > OPEN_SENDINGS {
                self.sendings.pop_front();
            }
        }
    }

    fn accept(&mut self, sealed: &SealedJoinAccept, sending: Sending) -> Option<SentSlot> {
        let mut best: Option<(Rank, usize, usize, Delay, Vec<Opening>)> = None;
        let requests: Vec<_> = self.requests.iter().copied().collect();
        for (age, &(index, place)) in requests.iter().rev().enumerate() {
            let Some(attempt) =
                self.trace.nodes.get(index).and_then(|node| node.attempts.get(place))
            else {
                continue;
            };
            let Some((delay, fit)) = delay_of(attempt, &sending) else { continue };
            let openings = match self.trace.nodes.get(index).and_then(|node| node.index) {
                Some(node) => self.openings(node, attempt, sealed),
                None => Vec::new(),
            };
            let rank = Rank { opens: !openings.is_empty(), fit, newer: usize::MAX - age };
            if best.as_ref().is_none_or(|(held, ..)| rank > *held) {
                best = Some((rank, index, place, delay, openings));
            }
        }
        let Some((_, index, place, delay, mut openings)) = best else {
            self.trace.stray_accepts.push(sending);
            return Some(SentSlot::Stray(self.trace.stray_accepts.len() - 1));
        };
        if openings.is_empty() {
            openings = self.openings_of_others(index, place, sealed);
        }
        let opens = openings
            .iter()
            .any(|o| Some(o.key.node) == self.trace.nodes.get(index).and_then(|n| n.index));
        let attempt = self.node(index)?.attempts.get_mut(place)?;
        attempt.answers.push(Answer { sending, delay, openings });
        let answer = attempt.answers.len() - 1;
        if opens && let Some(session) = self.session_of(index, place, answer) {
            self.add_session(index, session);
        }
        Some(SentSlot::Answer(index, place, answer))
    }

    fn openings_of_others(
        &self,
        index: usize,
        place: usize,
        sealed: &SealedJoinAccept,
    ) -> Vec<Opening> {
        let Some(node) = self.trace.nodes.get(index) else { return Vec::new() };
        let Some(attempt) = node.attempts.get(place) else { return Vec::new() };
        (0..self.roster.nodes.len())
            .filter(|&other| Some(other) != node.index)
            .take(STRANGER_TRIALS)
            .map(|other| self.openings(other, attempt, sealed))
            .find(|openings| !openings.is_empty())
            .unwrap_or_default()
    }

    /// Every key of a node, by either rule, that opens an accept as the answer to an attempt.
    fn openings(&self, node: usize, attempt: &Attempt, sealed: &SealedJoinAccept) -> Vec<Opening> {
        let Some(claims) = self.roster.nodes.get(node) else { return Vec::new() };
        let mut out = Vec::new();
        for (key, root) in keys::root_keys(node, claims) {
            for (rule, opened) in open(&root, &attempt.ask, sealed) {
                out.push(Opening { key, rule, opened });
            }
        }
        out
    }

    fn data_down(&mut self, frame: DataFrame, sending: Sending) -> Option<SentSlot> {
        let places = self.sessions.get(&frame.dev_addr).cloned()?;
        for &(index, place) in places.iter().rev() {
            let Some(held) = self.verify((index, place), &frame, None) else { continue };
            let session = self.node(index)?.sessions.get_mut(place)?;
            let answered = session.frames.iter().enumerate().rev().find_map(|(i, seen)| {
                let heard = seen.data.heard()?;
                let us = heard.sightings().find_map(|s| sending.slot_after(s));
                Some((i, us))
            });
            let (answers, delay_us) = match answered {
                Some((i, us)) => (Some(i), us),
                None => (None, None),
            };
            session.push(Data::Down { frame, sending, delay_us, answers }, held);
            return Some(SentSlot::Data(index, place, session.frames.len() - 1));
        }
        let &(index, _) = places.last()?;
        let node = self.node(index)?;
        node.unverified.push(Data::Down { frame, sending, delay_us: None, answers: None });
        Some(SentSlot::Unverified(index, node.unverified.len() - 1))
    }

    fn acknowledged(&mut self, line: Line, datagram: &Datagram) {
        let found = self.sendings.iter().rposition(|(token, gateway, _)| {
            *gateway == datagram.gateway && (datagram.token.is_none() || *token == datagram.token)
        });
        let Some((.., slot)) = found.and_then(|at| self.sendings.remove(at)) else { return };
        let said = datagram.ack.clone().unwrap_or_default();
        let ack = Ack { line, at: datagram.at, error: said.error, warn: said.warn };
        let sending = match slot {
            SentSlot::Answer(node, attempt, answer) => self
                .node(node)
                .and_then(|n| n.attempts.get_mut(attempt)?.answers.get_mut(answer))
                .map(|a| &mut a.sending),
            SentSlot::Data(node, session, frame) => self
                .node(node)
                .and_then(|n| n.sessions.get_mut(session)?.frames.get_mut(frame))
                .and_then(|seen| sending_of(&mut seen.data)),
            SentSlot::Unverified(node, at) => {
                self.node(node).and_then(|n| sending_of(n.unverified.get_mut(at)?))
            }
            SentSlot::Stray(at) => self.trace.stray_accepts.get_mut(at),
        };
        if let Some(sending) = sending {
            sending.ack = Some(ack);
        }
    }
}

/// How well an accept fits a request; compared member by member.
#[derive(Eq, Ord, PartialEq, PartialOrd)]
struct Rank {
    opens: bool,
    fit: u8,
    newer: usize,
}

/// How long after a request an accept is aimed, and how well that suits; `None` if not at all.
fn delay_of(attempt: &Attempt, sending: &Sending) -> Option<(Delay, u8)> {
    let first = attempt.heard.first();
    if sending.arrival_after(first).is_some_and(|us| !(0..=ANSWER_US).contains(&us)) {
        return None;
    }
    if sending.when == When::Immediate {
        let us = sending.arrival_after(first);
        return Some((Delay::AtOnce { us }, 1));
    }
    let counted = attempt.heard.sightings().enumerate().filter_map(|(sighting, seen)| {
        let us = sending.slot_after(seen)?;
        let fit = match us {
            4_999_000..=5_001_000 | 5_999_000..=6_001_000 => 4,
            999_000..=1_001_000 | 1_999_000..=2_001_000 => 3,
            0..=ANSWER_SLOT_US => 2,
            _ => 0,
        };
        // Two sightings of one gateway: the exact one is meant.
        let exact = us % 1_000_000 == 0;
        Some((fit, exact, std::cmp::Reverse(sighting), Delay::Counter { us, sighting }))
    });
    match counted.max_by_key(|(fit, exact, order, _)| (*fit, *exact, *order)) {
        // A slot that no window explains still answers by time, if times are known.
        Some((fit, .., delay)) if fit > 0 || sending.arrival_after(first).is_some() => {
            Some((delay, fit))
        }
        Some(_) => None,
        None => Some((Delay::Unknown, 1)),
    }
}

/// The rules by which a root key opens an accept so that its MIC holds.
pub(crate) fn open(
    root: &RootKey<'_>,
    ask: &Ask,
    sealed: &SealedJoinAccept,
) -> Vec<(Rule, OpenedJoinAccept)> {
    let as_nwk = NwkKey::from(root.key().clone());
    let mut out = Vec::new();
    let (dev_eui, join_eui) = (ask.dev_eui(), ask.join_eui());
    let opened = match ask {
        Ask::Join(_) => cipher::open_join_accept(AcceptKey::join(&as_nwk), sealed),
        Ask::Rejoin(_) => dev_eui.and_then(|dev_eui| {
            let key = derive::js_enc_key(&as_nwk, dev_eui);
            cipher::open_join_accept(AcceptKey::rejoin(&key), sealed)
        }),
    };
    let Some(opened) = opened else { return out };
    if mic::join_accept_1_0(&as_nwk, &opened.accept) == opened.accept.mic {
        out.push((Rule::V1_0, opened));
        return out;
    }
    let (Some(dev_eui), Some(join_eui), Some(nonce)) =
        (dev_eui, join_eui.or(Some(JoinEui::default())), ask.nonce())
    else {
        return out;
    };
    let key = derive::js_int_key(&as_nwk, dev_eui);
    let computed = mic::join_accept_1_1(&key, ask.req_type(), join_eui, nonce, &opened.accept);
    if computed == opened.accept.mic {
        out.push((Rule::V1_1, opened));
    }
    out
}

/// Whether a sighting is a copy of a transmission that was heard before.
pub(crate) fn is_copy(heard: &Transmission, new: &Sighting) -> bool {
    let apart = |old: &Sighting| Some((new.at?.as_microsecond() - old.at?.as_microsecond()).abs());
    if let Some(old) = heard.sightings().rfind(|s| s.gateway == new.gateway) {
        let is_request = matches!(heard.decoded.frame, Some(Frame::JoinRequest(_)));
        if is_request && apart(old).is_some_and(|us| us < SAME_REQUEST_US) {
            return true;
        }
        // Without a time and a gateway, counters may be those of two gateways: lines side by side
        // are taken for copies.
        if apart(old).is_none() && new.gateway.is_none() && beside(old.line, new.line) {
            return true;
        }
        let at_once = apart(old).is_none_or(|us| us <= GHOST_WALL_US);
        return match (old.tmst, new.tmst) {
            // A counter that does not count microseconds must not make repeats into ghosts.
            (Some(a), Some(b)) => at_once && a.wrapping_sub(b).min(b.wrapping_sub(a)) <= GHOST_US,
            _ => at_once && (apart(old).is_some() || new.gateway.is_none()),
        };
    }
    let window = match heard.decoded.frame {
        Some(Frame::JoinRequest(_)) => LATE_COPY_US,
        _ => COPY_US,
    };
    apart(heard.first()).is_none_or(|us| us <= window)
}

fn beside(old: Line, new: Line) -> bool {
    old.source == new.source && new.number.abs_diff(old.number) <= BESIDE_LINES
}

fn transmission_of(data: &mut Data) -> Option<&mut Transmission> {
    match data {
        Data::Up { heard, .. } => Some(heard),
        Data::Down { .. } => None,
    }
}

fn sending_of(data: &mut Data) -> Option<&mut Sending> {
    match data {
        Data::Down { sending, .. } => Some(sending),
        Data::Up { .. } => None,
    }
}

/// Returns how many of sixteen digits differ.
fn digits_apart(a: Eui64, b: Eui64) -> u32 {
    a.octets()
        .into_iter()
        .zip(b.octets())
        .map(|(x, y)| u32::from((x ^ y) & 0xF0 != 0) + u32::from((x ^ y) & 0x0F != 0))
        .sum()
}
