//! Memory that depends on nodes, not on frames: what is ordinary is forgotten once it is many.
//!
//! Every item that a trace keeps weighs about the same. When they are more than fit, each node's
//! lists are thinned to its share: the first, the last and a few of each kind between them stay
//! (`Kept::thin`), and the rest is counted. What the ladder must know of a forgotten request, its
//! nonce, is kept apart.

use jiff::Timestamp;

use super::Tracer;
use crate::{
    frame::{DataFrame, Direction},
    trace::{
        Attempt, Data, DataSeen, Earlier, Kept, NodeTrace, Origin, Sending, Session, kept::kind_of,
    },
};

/// Items kept before any is forgotten: some 50 MB.
pub(super) const ROOM: usize = 100_000;
/// What a session weighs beside a frame: its keys and their schedules.
pub(super) const SESSION: usize = 4;
/// Requests and frames that a node keeps in any case.
const FEW: usize = 8;

impl Tracer<'_> {
    /// Counts what was kept, and makes room where it is too much.
    pub(super) fn weigh(&mut self, weight: usize) {
        self.held += weight;
        if self.held > self.most_held {
            self.shed();
        }
    }

    fn shed(&mut self) {
        let weighing = self.trace.nodes.iter().filter(|node| weight(node) > 0).count();
        let share = ROOM / 2 / weighing.max(1);
        let mut held = 0;
        for (index, node) in self.trace.nodes.iter_mut().enumerate() {
            let gone = thin(node, share);
            for (dev_addr, number) in gone {
                if let Some(places) = self.sessions.get_mut(&dev_addr) {
                    places.retain(|place| *place != (index, number));
                    if places.is_empty() {
                        self.sessions.remove(&dev_addr);
                    }
                }
            }
            held += weight(node);
        }
        self.held = held;
        self.most_held = held + ROOM / 2;
    }
}

fn weight(node: &NodeTrace) -> usize {
    let frames: usize = node.sessions.iter().map(|s| SESSION + s.frames.len()).sum();
    node.attempts.len() + frames + node.unverified.len() + node.misshapen.len()
}

/// Thins a node's lists to its share; returns the sessions that are gone.
fn thin(node: &mut NodeTrace, share: usize) -> Vec<(crate::id::DevAddr, usize)> {
    if weight(node) <= share.max(2 * FEW) {
        return Vec::new();
    }
    let earlier = &mut node.earlier;
    node.attempts.thin(
        share / 3,
        |_, attempt| attempt_kind(attempt),
        |_, attempt| {
            earlier.take(&attempt);
        },
    );
    let mut gone = Vec::new();
    let forgotten = &mut node.forgotten_frames;
    // A session that a claim states is tried as long as the capture lasts.
    let kind = |_: Option<&_>, s: &Session| {
        kind_of((matches!(s.origin, Origin::Claim(_)), s.frames.is_empty()))
    };
    node.sessions.thin(share / 12, kind, |number, session| {
        *forgotten += session.frames.total();
        gone.push((session.dev_addr, number));
    });
    let each = share / 2 / node.sessions.len().max(1);
    for session in node.sessions.each_mut() {
        session.rest();
        let forgotten_up = &mut session.forgotten_up;
        session.frames.thin(each, seen_kind, |_, seen| {
            *forgotten_up += usize::from(seen.data.heard().is_some());
        });
    }
    node.unverified.thin(share / 6, |_, data| data_kind(data), |_, _| ());
    node.misshapen.thin(FEW, |_, heard| kind_of(heard.octets.len()), |_, _| ());
    gone
}

impl Earlier {
    /// Remembers the nonce of a request that is forgotten.
    fn take(&mut self, attempt: &Attempt) {
        let (nonce, order) = (attempt.nonce(), attempt.line().order);
        if attempt.ask.join().is_none() {
            return;
        }
        if let Err(place) = self.nonces.binary_search_by_key(&nonce, |(nonce, _)| *nonce) {
            self.nonces.insert(place, (nonce, order));
        }
        let highest = self.answered.is_none_or(|(held, _)| nonce > held);
        if !attempt.answers.is_empty() && highest {
            self.answered = Some((nonce, order));
        }
    }
}

fn attempt_kind(attempt: &Attempt) -> u64 {
    let refusal = attempt.answers.iter().find_map(|a| Some(a.sending.refusal()?.name().to_owned()));
    let opens = attempt.answers.iter().any(|a| !a.openings.is_empty());
    let key = attempt.holds_under.first();
    let ghost = attempt.heard.ghost().is_some();
    kind_of((attempt.answers.len().min(2), refusal, opens, key, ghost))
}

fn seen_kind(before: Option<&DataSeen>, seen: &DataSeen) -> u64 {
    let falls = before.is_some_and(|before| {
        before.data.frame().direction() == seen.data.frame().direction()
            && before.held.fcnt >= seen.held.fcnt
    });
    kind_of((falls, seen.held.candidate, seen.held.half, data_kind(&seen.data)))
}

fn data_kind(data: &Data) -> u64 {
    let frame = data.frame();
    match data {
        Data::Up { heard, .. } => {
            kind_of((true, commands(frame), frame.dev_addr, heard.ghost().is_some()))
        }
        Data::Down { sending, delay_us, .. } => {
            let delay_ms = delay_us.map(|us| us / 1_000);
            kind_of((false, commands(frame), frame.dev_addr, delay_ms, how(sending)))
        }
    }
}

fn how(sending: &Sending) -> u64 {
    let refusal = sending.refusal().map(|error| error.name().to_owned());
    kind_of((refusal, sending.inverted, std::mem::discriminant(&sending.when), sending.freq_hz))
}

/// What tells one frame's MAC commands from another's: whether there are any on FPort 0, and the
/// first of FOpts, with what it says where that is an answer.
fn commands(frame: &DataFrame) -> (bool, [u8; 2], usize) {
    let told = if frame.direction() == Direction::Uplink { 2 } else { 1 };
    let mut first = [0; 2];
    for (to, from) in first.iter_mut().zip(frame.fopts.octets().iter().take(told)) {
        *to = *from;
    }
    (frame.port() == Some(0), first, usize::from(frame.fopts.len()))
}

/// Forgets what was before a time, but for what later frames rest on: the join of a session that is
/// still in use, and the last frame before.
pub(super) fn forget_before(node: &mut NodeTrace, time: Timestamp) {
    let late = |at: Option<Timestamp>| at.is_none_or(|at| at >= time);
    let NodeTrace { attempts, sessions, earlier, forgotten_frames, .. } = node;
    let asked_late = |session: &Session, attempts: &Kept<Attempt>| match session.origin {
        Origin::Claim(_) => true,
        Origin::Accept { attempt, .. } => attempts.at(attempt).is_some_and(|a| late(a.heard.at())),
    };
    sessions.retain(
        |s| s.frames.iter().any(|seen| late(seen.data.at())) || asked_late(s, attempts),
        |session| *forgotten_frames += session.frames.total(),
    );
    let in_use: Vec<u64> = sessions
        .iter()
        .filter_map(|session| match session.origin {
            Origin::Accept { attempt, .. } => Some(attempts.at(attempt)?.line().order),
            Origin::Claim(_) => None,
        })
        .collect();
    attempts.retain(
        |a| late(a.heard.at()) || in_use.contains(&a.line().order),
        |attempt| earlier.take(&attempt),
    );
    for session in sessions.each_mut() {
        let before = session.frames.iter().filter(|seen| !late(seen.data.at())).count();
        let mut place = 0;
        let forgotten_up = &mut session.forgotten_up;
        session.frames.retain(
            |_| {
                place += 1;
                place >= before
            },
            |seen| *forgotten_up += usize::from(seen.data.heard().is_some()),
        );
    }
    node.unverified.retain(|data| late(data.at()), |_| ());
    node.misshapen.retain(|heard| late(heard.at()), |_| ());
}

/// Makes the numbers of a finished trace places.
pub(super) fn settle(node: &mut NodeTrace) {
    let NodeTrace { attempts, sessions, .. } = node;
    for session in sessions.each_mut() {
        if let Origin::Accept { attempt, answer } = session.origin {
            // A place that is none where the attempt is forgotten.
            let attempt = attempts.place(attempt).unwrap_or(usize::MAX);
            session.origin = Origin::Accept { attempt, answer };
        }
        let places: Vec<Option<usize>> = session
            .frames
            .iter()
            .map(|seen| match &seen.data {
                Data::Down { answers, .. } => answers.and_then(|n| session.frames.place(n)),
                Data::Up { .. } => None,
            })
            .collect();
        for (seen, place) in session.frames.each_mut().zip(places) {
            if let Data::Down { answers, .. } = &mut seen.data {
                *answers = place;
            }
        }
        session.frames.settle();
    }
    attempts.settle();
    sessions.settle();
    node.unverified.settle();
    node.misshapen.settle();
}
