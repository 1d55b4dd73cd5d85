//! The sessions that the joins of a stream make, kept for the data that follows.
//!
//! A Join-Accept of 1.0.x does not say which Join-Request it answers: its MIC covers no DevNonce, and
//! several requests may be open. So every recent request that the keys allow is a candidate, the
//! latest first, and the first data frame whose MIC holds decides. What was remembered proves and
//! never refutes: a frame that none of it fits may be of a join that the stream lacks.

use std::collections::{HashMap, VecDeque};

use super::{
    Bunch, Context, Found, Key, KeyRing, MicVerdict, Reading, Unchecked, data, join, read,
};
use crate::{
    crypto::derive::SessionKeys,
    frame::{
        DataFrame, Decoded, Direction, Frame, JoinAccept, Mic, RejoinRequest, SealedJoinAccept,
    },
    id::{DevAddr, DevEui, DevNonce, JoinEui},
};

/// Requests that wait for their Join-Accept.
const REQUESTS: usize = 64;

/// Addresses whose sessions are kept.
const ADDRESSES: usize = 10_000;

/// Sessions that are kept of one address, candidates included.
const SESSIONS_OF_AN_ADDRESS: usize = 16;

/// Requests that one Join-Accept may answer.
const CANDIDATES: usize = 8;

/// Reads one frame of a stream after the other and remembers the sessions that its joins make.
///
/// Its size is bounded: the oldest requests and sessions make room for new ones.
#[derive(Clone, Debug, Default)]
pub struct SessionMemory {
    requests: VecDeque<Request>,
    sessions: HashMap<DevAddr, VecDeque<Session>>,
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
    /// FCnt of the last confirmed frame, up and down: what a 1.1 acknowledgement is signed with.
    confirmed: [Option<u16>; 2],
}

impl SessionMemory {
    /// Reads a frame with the keys at hand and the sessions remembered, and learns from it.
    pub fn read(&mut self, decoded: Decoded, ring: &KeyRing, context: &Context) -> Reading {
        let own = match &decoded.frame {
            Some(Frame::JoinAccept(sealed)) if context.dev_nonce.is_none() => {
                self.accept(sealed, ring, context)
            }
            Some(Frame::RejoinRequest(request)) => self.rejoin(request, ring),
            Some(Frame::Data(frame)) => self.data(frame, context),
            _ => None,
        };
        let reading = match own {
            Some(found) if holds(&found) => Reading::of(decoded, found, context),
            own => {
                let plain = read(decoded, ring, context);
                let unknown =
                    matches!(plain.found.mic, MicVerdict::Unchecked(Unchecked::NoKey { .. }));
                match own.filter(|_| unknown) {
                    Some(half) => Reading::of(plain.decoded, half, context),
                    None => plain,
                }
            }
        };
        if holds(&reading.found) {
            self.learn(&reading, context);
        }
        reading
    }

    /// Returns how many sessions are remembered, candidates included.
    pub fn len(&self) -> usize {
        self.sessions.values().map(VecDeque::len).sum()
    }

    /// Returns whether no session is remembered.
    pub fn is_empty(&self) -> bool {
        self.sessions.is_empty()
    }

    fn learn(&mut self, reading: &Reading, context: &Context) {
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
                    self.keep(&reading.found, nonce, context.dev_eui);
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
    ) -> Option<Found> {
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
            self.keep(found, request.nonce, Some(request.dev_eui));
        }
        answers.into_iter().next().map(|(found, _)| found)
    }

    fn keep(&mut self, found: &Found, nonce: DevNonce, dev_eui: Option<DevEui>) {
        let (MicVerdict::Holds(proof), Some(opened)) = (&found.mic, &found.accept) else { return };
        let (Some(keys), accept) = (&opened.session, &opened.accept.accept) else { return };
        let JoinAccept { dev_addr, mic: accept, .. } = *accept;
        let mut bunch = Bunch { source: proof.source.clone(), ..Bunch::default() };
        bunch.source.dev_addr = Some(dev_addr);
        bunch.source.dev_eui = dev_eui.or(bunch.source.dev_eui);
        put(&mut bunch, keys);
        let known = self.sessions.entry(dev_addr).or_default();
        let mut fellows = known.iter().filter(|other| other.accept == accept);
        if fellows.any(|other| other.proven || other.nonce == nonce) {
            return;
        }
        known.push_front(Session { bunch, accept, nonce, proven: false, confirmed: [None; 2] });
        known.truncate(SESSIONS_OF_AN_ADDRESS);
        if known.len() == 1 {
            self.order.push_back(dev_addr);
        }
        if self.order.len() > ADDRESSES
            && let Some(oldest) = self.order.pop_front()
        {
            self.sessions.remove(&oldest);
        }
    }

    /// Reads a Rejoin-Request of types 0 or 2, which a session key signs.
    fn rejoin(&self, request: &RejoinRequest, ring: &KeyRing) -> Option<Found> {
        let dev_eui = request.body.dev_eui()?;
        let sessions = self.sessions.values().flatten();
        sessions
            .filter(|session| session.bunch.source.dev_eui == Some(dev_eui))
            .map(|session| join::rejoin(request, ring, Some(&session.bunch)))
            .find(holds)
    }

    /// Reads data with the sessions of its address; what half a MIC proves is returned, too.
    fn data(&mut self, frame: &DataFrame, context: &Context) -> Option<Found> {
        let sessions = self.sessions.get_mut(&frame.dev_addr)?;
        let (mine, other) = match frame.direction() {
            Direction::Uplink => (0, 1),
            Direction::Downlink => (1, 0),
        };
        let mut half = None;
        let mut hit = None;
        for (place, session) in sessions.iter().enumerate() {
            let acknowledged = session.confirmed.get(other).copied().flatten();
            let context =
                Context { conf_fcnt: context.conf_fcnt.or(acknowledged), ..context.clone() };
            let found = data::data(frame, &[&session.bunch], &context);
            if holds(&found) {
                hit = Some((place, found));
                break;
            }
            let by_half = matches!(
                found.mic,
                MicVerdict::Unchecked(Unchecked::NoValue { forwarding_half: true, .. })
            );
            half = half.or_else(|| by_half.then_some(found));
        }
        let Some((place, found)) = hit else { return half };
        let session = sessions.get_mut(place)?;
        session.proven = true;
        if frame.mhdr.ftype().is_confirmed()
            && let Some(confirmed) = session.confirmed.get_mut(mine)
        {
            *confirmed = Some(frame.fcnt);
        }
        let (accept, nonce) = (session.accept, session.nonce);
        sessions.retain(|other| other.accept != accept || other.nonce == nonce);
        Some(found)
    }
}

const fn holds(found: &Found) -> bool {
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
