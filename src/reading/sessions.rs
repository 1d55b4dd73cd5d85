//! The sessions of a stream: those that the keys at hand state, and those that its joins make.
//!
//! What a frame's counter may be, and how far it is searched, is the [trace](crate::trace)'s rule. Here
//! frames are read as they come, without waiting for those of other gateways.
//!
//! A Join-Accept of 1.0.x does not say which Join-Request it answers: its MIC covers no DevNonce, and
//! several requests may be open. So every recent request that the keys allow is a candidate, the
//! latest first, and the first data frame whose MIC holds decides. What was remembered proves and
//! never refutes: a frame that none of it fits may be of a join that the stream lacks.

use std::collections::{HashMap, VecDeque};

use super::{Bunch, Context, Key, KeyFindings, KeyRing, MicVerdict, Reading, data, join, read};
use crate::{
    crypto::derive::SessionKeys,
    frame::{DataFrame, Decoded, Frame, JoinAccept, Mic, RejoinRequest, SealedJoinAccept},
    id::{DevAddr, DevEui, DevNonce, JoinEui},
    trace::{Counters, SEARCHES_OF_A_NODE},
};

/// Requests that wait for their Join-Accept.
const REQUESTS: usize = 64;

/// Addresses whose sessions are kept.
const ADDRESSES: usize = 10_000;

/// Sessions that are kept of one address, candidates included.
const SESSIONS_OF_AN_ADDRESS: usize = 16;

/// Requests that one Join-Accept may answer.
const CANDIDATES: usize = 8;

/// Addresses of which is kept what was counted under keys at hand.
const COUNTED: usize = 65_536;

/// Searches for counters that keys have which name no address: frames of strangers use them up, too.
const SEARCHES_OF_ANY_ADDRESS: u16 = 256;

/// Reads one frame of a stream after the other and remembers its sessions.
///
/// Its size is bounded: the oldest requests and sessions make room for new ones.
#[derive(Clone, Debug, Default)]
pub struct Sessions {
    requests: VecDeque<Request>,
    /// What was counted under keys of the ring, by their place and the address.
    stated: HashMap<(usize, DevAddr), Counters>,
    /// Searches that are left to keys of the ring.
    searches_left: HashMap<usize, u16>,
    joined: HashMap<DevAddr, VecDeque<Session>>,
    /// The addresses, the one that was given longest ago first.
    order: VecDeque<DevAddr>,
}

/// A Join-Request or Rejoin-Request whose MIC holds.
#[derive(Clone, Debug, Eq, PartialEq)]
struct Request {
    dev_eui: DevEui,
    /// Rejoin-Requests of types 0 and 2 do not carry it.
    join_eui: Option<JoinEui>,
    nonce: DevNonce,
}

/// A session that a Join-Accept made, or may have made.
#[derive(Clone, Debug)]
struct Session {
    bunch: Bunch,
    /// MIC of the Join-Accept, by which sessions of one are known.
    accept: Mic,
    nonce: DevNonce,
    /// Whether a data frame has shown that this is the session, and none of its fellows.
    proven: bool,
    counters: Counters,
}

impl Sessions {
    /// Reads a frame with the keys at hand and the sessions remembered, and learns from it.
    ///
    /// The keys at hand are to be the same for all frames of a stream.
    pub fn read(&mut self, decoded: Decoded, ring: &KeyRing, context: &Context) -> Reading {
        let own = match &decoded.frame {
            Some(Frame::Data(frame)) => {
                let found = self.data(frame, ring, context);
                return Reading::of(decoded, found, context);
            }
            Some(Frame::JoinAccept(sealed)) if context.dev_nonce.is_none() => {
                self.accept(sealed, ring, context)
            }
            Some(Frame::RejoinRequest(request)) => self.rejoin(request, ring),
            _ => None,
        };
        let reading = match own.filter(holds) {
            Some(found) => Reading::of(decoded, found, context),
            None => read(decoded, ring, context),
        };
        if holds(&reading.found) {
            self.learn(&reading, ring, context);
        }
        reading
    }

    /// Returns how many sessions are remembered, candidates included.
    pub fn len(&self) -> usize {
        self.joined.values().map(VecDeque::len).sum()
    }

    /// Returns whether no session is remembered.
    pub fn is_empty(&self) -> bool {
        self.joined.is_empty()
    }

    fn learn(&mut self, reading: &Reading, ring: &KeyRing, context: &Context) {
        match &reading.decoded.frame {
            Some(Frame::JoinRequest(request)) => self.ask(Request {
                dev_eui: request.dev_eui,
                join_eui: Some(request.join_eui),
                nonce: request.dev_nonce,
            }),
            Some(Frame::RejoinRequest(request)) => {
                let (dev_eui, nonce) = (request.body.dev_eui(), request.body.count());
                if let (Some(dev_eui), Some(nonce)) = (dev_eui, nonce) {
                    let asked = self.requests.iter().rev().find(|r| r.dev_eui == dev_eui);
                    let join_eui = asked.and_then(|request| request.join_eui);
                    self.ask(Request { dev_eui, join_eui, nonce });
                }
            }
            Some(Frame::JoinAccept(_)) => {
                // With a DevNonce from the user, its session is the only candidate.
                if let Some(nonce) = context.dev_nonce {
                    self.keep(&reading.found, ring, nonce, context.dev_eui);
                }
            }
            _ => {}
        }
    }

    fn ask(&mut self, request: Request) {
        // Several gateways hear one request.
        self.requests.retain(|other| *other != request);
        self.requests.push_back(request);
        if self.requests.len() > REQUESTS {
            self.requests.pop_front();
        }
    }

    /// Opens a Join-Accept as the answer of each recent request, and keeps every session it may make.
    fn accept(
        &mut self,
        sealed: &SealedJoinAccept,
        ring: &KeyRing,
        context: &Context,
    ) -> Option<KeyFindings> {
        let answers: Vec<_> = self
            .requests
            .iter()
            .rev()
            .map(|request| {
                let context = Context {
                    dev_eui: Some(request.dev_eui),
                    join_eui: request.join_eui.or(context.join_eui),
                    dev_nonce: Some(request.nonce),
                    ..context.clone()
                };
                (join::accept(sealed, ring.of_node(request.dev_eui), &context), request.clone())
            })
            .filter(|(found, _)| holds(found))
            .take(CANDIDATES)
            .collect();
        // The latest is kept last, and so tried first.
        for (found, request) in answers.iter().rev() {
            self.keep(found, ring, request.nonce, Some(request.dev_eui));
        }
        answers.into_iter().next().map(|(found, _)| found)
    }

    fn keep(
        &mut self,
        found: &KeyFindings,
        ring: &KeyRing,
        nonce: DevNonce,
        dev_eui: Option<DevEui>,
    ) {
        let (MicVerdict::Holds(proof), Some(opened)) = (&found.mic, &found.accept) else { return };
        let (Some(keys), accept) = (&opened.session, &opened.accept.accept) else { return };
        let JoinAccept { dev_addr, mic: accept, .. } = *accept;
        let own = ring.bunches().iter().find(|bunch| bunch.source == proof.source);
        let plan = own.and_then(|bunch| bunch.plan);
        let mut bunch = Bunch { source: proof.source.clone(), plan, ..Bunch::default() };
        bunch.source.dev_addr = Some(dev_addr);
        bunch.source.dev_eui = dev_eui.or(bunch.source.dev_eui);
        put(&mut bunch, keys);
        let known = self.joined.entry(dev_addr).or_default();
        let mut fellows = known.iter().filter(|other| other.accept == accept);
        if fellows.any(|other| other.proven || other.nonce == nonce) {
            return;
        }
        let counters = Counters::of_a_join();
        known.push_front(Session { bunch, accept, nonce, proven: false, counters });
        known.truncate(SESSIONS_OF_AN_ADDRESS);
        if known.len() == 1 {
            self.order.push_back(dev_addr);
        }
        if self.order.len() > ADDRESSES
            && let Some(oldest) = self.order.pop_front()
        {
            self.joined.remove(&oldest);
        }
    }

    /// Reads a Rejoin-Request of types 0 or 2, which a session key signs.
    fn rejoin(&self, request: &RejoinRequest, ring: &KeyRing) -> Option<KeyFindings> {
        let dev_eui = request.body.dev_eui()?;
        let sessions = self.joined.values().flatten();
        sessions
            .filter(|session| session.bunch.source.dev_eui == Some(dev_eui))
            .map(|session| join::rejoin(request, ring, Some(&session.bunch)))
            .find(holds)
    }

    /// Reads data with the sessions of its address: those of joins, the latest first, then those that keys
    /// at hand state.
    fn data(&mut self, frame: &DataFrame, ring: &KeyRing, context: &Context) -> KeyFindings {
        let mut tried = Vec::new();
        let joined = self.joined.get(&frame.dev_addr);
        for Session { bunch, counters, .. } in joined.into_iter().flatten() {
            let (counters, searches_left) = (counters.clone(), SEARCHES_OF_A_NODE);
            tried.push(data::Session { bunch, counters, searches_left, refutes: false });
        }
        let joined = tried.len();
        let places: Vec<usize> = ring.session_places(frame.dev_addr).collect();
        for place in &places {
            let Some(bunch) = ring.bunches().get(*place) else { continue };
            let mut session = data::Session::stated(bunch);
            if bunch.source.dev_addr.is_none() {
                session.searches_left = SEARCHES_OF_ANY_ADDRESS;
            }
            if let Some(left) = self.searches_left.get(place) {
                session.searches_left = *left;
            }
            if let Some(counters) = self.stated.get(&(*place, frame.dev_addr)) {
                session.counters.clone_from(counters);
            }
            tried.push(session);
        }
        let (found, hit) = data::data(frame, &mut tried, context);
        let mut learnt: Vec<(Counters, u16)> =
            tried.into_iter().map(|session| (session.counters, session.searches_left)).collect();
        let stated = learnt.split_off(joined);
        for (i, (place, (counters, left))) in places.into_iter().zip(stated).enumerate() {
            self.searches_left.insert(place, left);
            let key = (place, frame.dev_addr);
            let tells = hit == Some(joined + i) || counters.is_searched();
            if tells && (self.stated.len() < COUNTED || self.stated.contains_key(&key)) {
                self.stated.insert(key, counters);
            }
        }
        let Some(sessions) = self.joined.get_mut(&frame.dev_addr) else { return found };
        for (session, (counters, _)) in sessions.iter_mut().zip(learnt) {
            session.counters = counters;
        }
        if let Some(session) = hit.and_then(|hit| sessions.get_mut(hit)) {
            session.proven = true;
            let (accept, nonce) = (session.accept, session.nonce);
            sessions.retain(|other| other.accept != accept || other.nonce == nonce);
        }
        found
    }
}

const fn holds(found: &KeyFindings) -> bool {
    matches!(found.mic, MicVerdict::Holds(_))
}

fn put(bunch: &mut Bunch, keys: &SessionKeys) {
    match keys {
        SessionKeys::V1_0 { nwk_s_key, app_s_key } => {
            bunch.put(Key::NwkS(nwk_s_key.clone()));
            bunch.app_s_key.clone_from(app_s_key);
        }
        SessionKeys::V1_1 { f_nwk_s_int_key, s_nwk_s_int_key, nwk_s_enc_key, app_s_key } => {
            bunch.put(Key::FNwkSInt(f_nwk_s_int_key.clone()));
            bunch.put(Key::SNwkSInt(s_nwk_s_int_key.clone()));
            bunch.put(Key::NwkSEnc(nwk_s_enc_key.clone()));
            bunch.app_s_key.clone_from(app_s_key);
        }
    }
}
