//! Downlinks: accepts paired with the requests that they answer, data with its session.

use super::{
    Arrival, STRANGER_TRIALS, STRAY, STRAY_FRAMES, STRAYS_OF_A_GROUP, STRAYS_OF_ONE, SentSlot,
    Tracer,
};
use crate::{
    crypto::{
        cipher::{self, AcceptKey},
        derive, mic,
    },
    frame::{DataFrame, Direction, Frame, OpenedJoinAccept, SealedJoinAccept},
    id::JoinEui,
    intake::{Ordered, Outcome},
    key::NwkKey,
    roster::Node,
    trace::{
        Ack, Answer, Ask, Attempt, Data, Delay, Opening, RootKey, Rule, Sending, Stray, keys,
        pairing::{self, WINDOW},
    },
};

impl Tracer<'_> {
    pub(super) fn ordered(&mut self, from: Arrival, ordered: Ordered) {
        let Arrival { line, at, gateway, token } = from;
        self.trace.frames += 1;
        let known = self.trace.gateways.get(&gateway);
        let range_hz = known.and_then(|gateway| gateway.plan.as_ref()?.range_hz);
        let mut sending = Sending::new(line, at, gateway, token, &ordered);
        sending.range_hz = range_hz;
        let frame = ordered.frame.frame;
        let slot = match frame {
            Some(Frame::JoinAccept(sealed)) => self.accept(sealed, sending),
            // One frame of data, however many windows it may go out in.
            Some(Frame::Data(_)) if ordered.alternative => {
                let first = self.sendings.newest().copied();
                first.filter(|slot| self.sending(*slot).is_some_and(|s| s.octets == sending.octets))
            }
            Some(Frame::Data(frame)) if frame.direction() == Direction::Downlink => {
                self.data_down(frame, sending)
            }
            _ => None,
        };
        if let Some(slot) = slot {
            self.sendings.push((gateway, token, ordered.number), slot);
        }
    }

    fn accept(&mut self, sealed: SealedJoinAccept, sending: Sending) -> Option<SentSlot> {
        let mut best: Option<Pairing> = None;
        // The newest request in a window of which its slot is, of each node.
        let mut windows: Vec<Pairing> = Vec::new();
        let requests: Vec<_> = self.requests.iter().copied().collect();
        for (age, &(index, place)) in requests.iter().rev().enumerate() {
            let Some(attempt) =
                self.trace.nodes.get(index).and_then(|node| node.attempts.at(place))
            else {
                continue;
            };
            let Some((delay, fit)) = pairing::delay_of(&attempt.heard, &sending) else { continue };
            let openings = match self.trace.nodes.get(index).and_then(|node| node.index) {
                Some(node) => self.openings(node, attempt, &sealed),
                None => Vec::new(),
            };
            let rank = Rank { opens: !openings.is_empty(), fit, newer: usize::MAX - age };
            let pairing = Pairing { rank, index, place, delay, openings };
            if fit == WINDOW && windows.iter().all(|held| held.index != index) {
                windows.push(pairing.clone());
            }
            if best.as_ref().is_none_or(|held| pairing.rank > held.rank) {
                best = Some(pairing);
            }
        }
        // The key says which node it is for; of that node's requests the slot says which it was
        // handed out for, even where it was made for another.
        if let Some(held) = best.as_ref().filter(|held| held.rank.opens && held.rank.fit < WINDOW)
            && let Some(at) = windows.iter().position(|window| window.index == held.index)
        {
            best = Some(windows.swap_remove(at));
        }
        let Some(Pairing { index, place, delay, mut openings, .. }) = best else {
            return self.stray(sending, sealed);
        };
        if openings.is_empty() {
            openings = self.openings_of_others(index, place, &sealed);
        }
        // The order alone does not say whose it is.
        let by_order = delay == Delay::Unknown && (sending.at, sending.gateway) == (None, None);
        if by_order && openings.is_empty() {
            return self.stray(sending, sealed);
        }
        let opens = openings
            .iter()
            .any(|o| Some(o.key.node) == self.trace.nodes.get(index).and_then(|n| n.index));
        let attempt = self.node(index)?.attempts.at_mut(place)?;
        attempt.answers.push(Answer { sending, sealed, delay, openings });
        let answer = attempt.answers.len() - 1;
        if opens
            && !attempt.answers.last().is_some_and(|last| last.sending.alternative)
            && let Some(session) = self.session_of(index, place, answer)
        {
            self.add_session(index, session);
        }
        Some(SentSlot::Answer(index, place, answer))
    }

    /// Accepts that seemed to answer nothing, as where a clock was set back between request and
    /// answer: by the gateway's counter and the node's key alone.
    pub(super) fn second_look(&mut self) {
        let requests: Vec<_> = self.requests.iter().copied().collect();
        for Stray { sending, sealed } in std::mem::take(&mut self.trace.stray_accepts) {
            let found = requests.iter().rev().find_map(|&(index, place)| {
                let node = self.trace.nodes.get(index)?;
                let attempt = node.attempts.at(place)?;
                let (delay, fit) = pairing::by_slot(&attempt.heard, &sending)?;
                let openings = self.openings(node.index?, attempt, &sealed);
                let sure = fit == WINDOW && !openings.is_empty();
                sure.then_some((index, place, delay, openings))
            });
            match found.and_then(|found| Some((self.attempt(found.0, found.1)?, found))) {
                Some((attempt, (index, place, delay, openings))) => {
                    attempt.answers.push(Answer { sending, sealed, delay, openings });
                    let answer = attempt.answers.len() - 1;
                    if let Some(session) = self.session_of(index, place, answer) {
                        self.add_session(index, session);
                    }
                }
                None => self.trace.stray_accepts.push(Stray { sending, sealed }),
            }
        }
    }

    fn attempt(&mut self, index: usize, place: usize) -> Option<&mut Attempt> {
        self.node(index)?.attempts.at_mut(place)
    }

    fn stray(&mut self, sending: Sending, sealed: SealedJoinAccept) -> Option<SentSlot> {
        let stray = &mut self.trace.stray_accepts;
        if stray.len() == STRAY {
            return None;
        }
        stray.push(Stray { sending, sealed });
        Some(SentSlot::Stray(stray.len() - 1))
    }

    fn openings_of_others(
        &self,
        index: usize,
        place: usize,
        sealed: &SealedJoinAccept,
    ) -> Vec<Opening> {
        let Some(node) = self.trace.nodes.get(index) else { return Vec::new() };
        let Some(attempt) = node.attempts.at(place) else { return Vec::new() };
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
            for (rule, opened) in open(&root, claims, &attempt.ask, sealed) {
                out.push(Opening { key, rule, opened });
            }
        }
        out
    }

    fn data_down(&mut self, frame: DataFrame, sending: Sending) -> Option<SentSlot> {
        let Some(places) = self.sessions.get(&frame.dev_addr).cloned() else {
            self.foreign_down(frame, sending);
            return None;
        };
        if let Some((index, place, held)) = self.verify(&places, &frame, |_, _| None) {
            let session = self.node(index)?.sessions.at_mut(place)?;
            let answered = session.frames.newest().find_map(|(i, seen)| {
                let heard = seen.data.heard()?;
                let us = heard.sightings().find_map(|s| sending.slot_after(s));
                Some((i, us))
            });
            let (answers, delay_us) = match answered {
                Some((i, us)) => (Some(i), us),
                None => (None, None),
            };
            let at = session.push(Data::Down { frame, sending, delay_us, answers }, held);
            self.weigh(1);
            return Some(SentSlot::Data(index, place, at));
        }
        let &(index, _) = places.last()?;
        let node = self.node(index)?;
        let data = Data::Down { frame, sending, delay_us: None, answers: None };
        let at = node.unverified.push(data);
        self.weigh(1);
        Some(SentSlot::Unverified(index, at))
    }

    /// Keeps the first downlinks of nobody's address.
    fn foreign_down(&mut self, frame: DataFrame, sending: Sending) {
        let strays = &mut self.trace.strays;
        if strays.len() >= STRAY_FRAMES {
            return;
        }
        let own = strays
            .iter()
            .filter(|data| data.heard().is_none() && data.frame().dev_addr == frame.dev_addr);
        // A block for a multicast group is many frames.
        let most = if strays.len() < STRAY_FRAMES / 2 { STRAYS_OF_A_GROUP } else { STRAYS_OF_ONE };
        if (own.count() as u64) < most {
            strays.push(Data::Down { frame, sending, delay_us: None, answers: None });
        }
    }

    pub(super) fn outcome(&mut self, from: Arrival, outcome: Outcome) {
        let Arrival { line, at, gateway, token } = from;
        let Outcome { error, warn, number, by, .. } = outcome;
        let Some(slot) = self.sendings.take((gateway, token, number)) else { return };
        if let Some(sending) = self.sending(slot) {
            sending.ack = Some(Ack { line, at, error, warn, by });
        }
    }

    fn sending(&mut self, slot: SentSlot) -> Option<&mut Sending> {
        match slot {
            SentSlot::Answer(node, attempt, answer) => self
                .node(node)
                .and_then(|n| n.attempts.at_mut(attempt)?.answers.get_mut(answer))
                .map(|a| &mut a.sending),
            SentSlot::Data(node, session, frame) => self
                .node(node)
                .and_then(|n| n.sessions.at_mut(session)?.frames.at_mut(frame))
                .and_then(|seen| sending_of(&mut seen.data)),
            SentSlot::Unverified(node, at) => {
                self.node(node).and_then(|n| sending_of(n.unverified.at_mut(at)?))
            }
            SentSlot::Stray(at) => {
                self.trace.stray_accepts.get_mut(at).map(|stray| &mut stray.sending)
            }
        }
    }
}

/// A request that an accept may answer.
#[derive(Clone)]
struct Pairing {
    rank: Rank,
    index: usize,
    place: usize,
    delay: Delay,
    openings: Vec<Opening>,
}

/// How well an accept fits a request; compared member by member.
#[derive(Clone, Copy, Eq, Ord, PartialEq, PartialOrd)]
struct Rank {
    opens: bool,
    fit: u8,
    newer: usize,
}

/// The rules by which a root key of a node opens an accept so that its MIC holds.
pub(crate) fn open(
    root: &RootKey<'_>,
    node: &Node,
    ask: &Ask,
    sealed: &SealedJoinAccept,
) -> Vec<(Rule, OpenedJoinAccept)> {
    let as_nwk = NwkKey::from(root.key().clone());
    let mut out = Vec::new();
    let dev_eui = ask.dev_eui();
    let opened = match ask {
        Ask::Join(_) => cipher::open_join_accept(AcceptKey::join(&as_nwk), sealed),
        Ask::Rejoin(_) => dev_eui.and_then(|dev_eui| {
            let key = derive::js_enc_key(&as_nwk, dev_eui);
            cipher::open_join_accept(AcceptKey::rejoin(&key), sealed)
        }),
    };
    let Some(opened) = opened else { return out };
    if mic::check_join_accept_1_0(&as_nwk, &opened.accept).is_ok() {
        out.push((Rule::V1_0, opened));
        return out;
    }
    let (Some(dev_eui), Some(nonce)) = (dev_eui, ask.nonce()) else { return out };
    let key = derive::js_int_key(&as_nwk, dev_eui);
    let accept = &opened.accept;
    let holds = |join_eui: &JoinEui| {
        mic::check_join_accept_1_1(&key, ask.req_type(), *join_eui, nonce, accept).is_ok()
    };
    if join_euis(node, ask).iter().any(holds) {
        out.push((Rule::V1_1, opened));
    }
    out
}

/// The JoinEUI of a request; those of the node's claims where it carries none, as Rejoin-Requests of
/// types 0 and 2 do.
fn join_euis(node: &Node, ask: &Ask) -> Vec<JoinEui> {
    let sent = ask.join_eui();
    let claimed = || node.claims().filter_map(|(_, claim)| claim.join_eui);
    let mut out: Vec<JoinEui> = sent.into_iter().collect();
    if sent.is_none() {
        for eui in claimed().chain([JoinEui::default()]) {
            if !out.contains(&eui) {
                out.push(eui);
            }
        }
    }
    out
}

fn sending_of(data: &mut Data) -> Option<&mut Sending> {
    match data {
        Data::Down { sending, .. } => Some(sending),
        Data::Up { .. } => None,
    }
}
