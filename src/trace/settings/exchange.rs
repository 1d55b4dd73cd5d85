//! Requests of the network, each paired with its answer.

use super::{Said, Turn, said::is_answered};
use crate::{
    frame::{
        MacVersion,
        command::{self, Command, FieldValue, Repeats, Role},
    },
    region::Plan,
    trace::{Data, Session},
};

/// A request, or a block of LinkADRReq, and what became of it.
#[derive(Clone, Debug)]
pub struct Exchange {
    /// Place of the downlink that asks.
    pub asked: usize,
    /// The turn whose uplink it answers; `None` before the first.
    pub turn: Option<usize>,
    /// What is asked: one command, or a block of LinkADRReq.
    pub requests: Vec<Command>,
    /// What became of it.
    pub fate: Fate,
    /// Later turns whose uplinks repeat the answer.
    pub repeats: Vec<usize>,
}

/// What became of a request.
#[derive(Clone, Debug)]
pub enum Fate {
    /// The node took it: every bit of the answer is 1.
    Taken(Answered),
    /// The node refused it: nothing changed.
    Refused(Answered),
    /// The next uplink is there, none is missing before it, and it carries no answer.
    Unanswered {
        /// Place of that uplink.
        by: usize,
    },
    /// Uplinks are missing in which the answer may have been.
    Doubtful,
    /// No uplink came after it.
    Open,
    /// The gateway refused the downlink.
    NotSent,
    /// A node of this plan or version gives no answer.
    NoAnswerDue,
}

/// An answer.
#[derive(Clone, Debug)]
pub struct Answered {
    /// Place of the uplink that answers.
    pub at: usize,
    /// Its turn.
    pub turn: usize,
    /// The answers.
    pub commands: Vec<Command>,
    /// Whether it came later than in the next uplink.
    pub late: bool,
}

impl Exchange {
    /// Returns the CID.
    pub fn cid(&self) -> u8 {
        self.requests.first().map_or(0, Command::cid)
    }

    /// Returns the name of the command.
    pub fn name(&self) -> &'static str {
        self.requests.first().map_or("", Command::name)
    }

    /// Returns the answer, if there is one.
    pub const fn answer(&self) -> Option<&Answered> {
        match &self.fate {
            Fate::Taken(answered) | Fate::Refused(answered) => Some(answered),
            _ => None,
        }
    }

    /// Returns the answer that takes it.
    pub const fn taken(&self) -> Option<&Answered> {
        match &self.fate {
            Fate::Taken(answered) => Some(answered),
            _ => None,
        }
    }

    /// Returns the answer that refuses it.
    pub const fn refused(&self) -> Option<&Answered> {
        match &self.fate {
            Fate::Refused(answered) => Some(answered),
            _ => None,
        }
    }

    /// Returns whether both ask the same.
    pub fn asks_as(&self, other: &Self) -> bool {
        let octets = |exchange: &Self| command::encode(&exchange.requests);
        octets(self) == octets(other)
    }
}

/// Whether an answer takes what it answers: every bit of its status is 1. RejoinParamSetupAns takes the
/// count in any case.
fn takes(answer: &Command) -> bool {
    let refuses = |field: &command::Field| {
        field.spec.refusal.is_some() && field.value == FieldValue::Flag(false)
    };
    answer.name() == "RejoinParamSetupAns" || !answer.fields.iter().any(refuses)
}

/// The walk through a session: what is asked and waits for its answer.
struct Walk<'a> {
    said: &'a [Said],
    version: Option<MacVersion>,
    exchanges: Vec<Exchange>,
    /// Asked since the last new uplink.
    pending: Vec<usize>,
    strays: Vec<(usize, u8)>,
}

/// Returns the exchanges of a session, and the answers without a request in the capture.
pub(super) fn pair(
    session: &Session,
    turns: &[Turn],
    said: &[Said],
    plan: Option<&'static Plan>,
    version: Option<MacVersion>,
) -> (Vec<Exchange>, Vec<(usize, u8)>) {
    let mut walk =
        Walk { said, version, exchanges: Vec::new(), pending: Vec::new(), strays: Vec::new() };
    for (number, turn) in turns.iter().enumerate() {
        walk.uplink(number, turn);
        walk.downlinks(session, number, turn, plan);
    }
    (walk.exchanges, walk.strays)
}

impl Walk<'_> {
    fn uplink(&mut self, number: usize, turn: &Turn) {
        let place = turn.first();
        let Some(said) = self.said.get(place) else { return };
        let answers = said.commands.iter().filter(|command| command.row.role == Role::Answer);
        for answer in answers {
            self.answer(number, place, answer);
        }
        for waiting in std::mem::take(&mut self.pending) {
            let Some(exchange) = self.exchanges.get_mut(waiting) else { continue };
            if matches!(exchange.fate, Fate::Open) {
                let by = place;
                exchange.fate =
                    if turn.follows() { Fate::Unanswered { by } } else { Fate::Doubtful };
            }
        }
    }

    fn answer(&mut self, turn: usize, at: usize, answer: &Command) {
        let cid = answer.cid();
        let own = |exchange: &Exchange| exchange.cid() == cid;
        // The first that waits; a block of LinkADRReq takes as many answers as come until the next one
        // has its share (1.0.x answers each request, 1.1 the block once).
        let waits = |walk: &Self, open: bool| {
            walk.pending.iter().copied().find(|i| {
                walk.exchanges.get(*i).is_some_and(|exchange| {
                    own(exchange) && (matches!(exchange.fate, Fate::Open) == open)
                })
            })
        };
        let begun = waits(self, false).filter(|i| {
            self.exchanges.get(*i).is_some_and(|exchange| {
                let had = exchange.answer().map_or(0, |answered| answered.commands.len());
                had < exchange.requests.len()
            })
        });
        let last_begun = || {
            let mut all = self.pending.iter().rev().copied();
            all.find(|i| self.exchanges.get(*i).is_some_and(own))
        };
        let found = if self.version == Some(MacVersion::V1_1) {
            waits(self, true).or(begun)
        } else {
            begun.or_else(|| waits(self, true))
        };
        let found = found.or_else(last_begun);
        if let Some(exchange) = found.and_then(|i| self.exchanges.get_mut(i)) {
            exchange.hear(turn, at, answer, false);
            return;
        }
        self.late(turn, at, answer);
    }

    /// An answer that nothing waits for: repeated until a downlink comes, later than it should be, or to
    /// a request that is not in the capture.
    fn late(&mut self, turn: usize, at: usize, answer: &Command) {
        let cid = answer.cid();
        let sticky = match answer.row.repeats {
            Repeats::UntilDownlink(versions) => {
                self.version.is_none_or(|version| versions.contains(&version))
            }
            Repeats::Never | Repeats::UntilConfirmed => false,
        };
        let Some(exchange) = self.exchanges.iter_mut().rev().find(|e| e.cid() == cid) else {
            self.strays.push((turn, cid));
            return;
        };
        // Some nodes repeat answers that their version gives once.
        let goes_on = exchange.answer().is_some_and(|answered| {
            let last = exchange.repeats.last().copied().unwrap_or(answered.turn);
            last + 1 >= turn && answered.commands.contains(answer)
        });
        match &exchange.fate {
            Fate::Taken(_) | Fate::Refused(_) if sticky || goes_on => {
                if exchange.repeats.last() != Some(&turn) {
                    exchange.repeats.push(turn);
                }
            }
            Fate::Unanswered { .. } | Fate::Doubtful => exchange.hear(turn, at, answer, true),
            _ => self.strays.push((turn, cid)),
        }
    }

    fn downlinks(
        &mut self,
        session: &Session,
        number: usize,
        turn: &Turn,
        plan: Option<&'static Plan>,
    ) {
        let mut known: Vec<&[u8]> = Vec::new();
        for &asked in &turn.downs {
            let Some(Data::Down { sending, .. }) = session.frames.get(asked).map(|s| &s.data)
            else {
                continue;
            };
            let Some(said) = self.said.get(asked) else { continue };
            let refused = sending.refusal().is_some() || sending.gone;
            // The same octets in the other window, or through another gateway, ask once.
            if !refused && known.contains(&&*sending.octets) {
                continue;
            }
            if !refused {
                known.push(&sending.octets);
            }
            let mut block: Vec<Command> = Vec::new();
            let requests = said.commands.iter().filter(|c| c.row.role == Role::Request);
            for request in requests {
                let goes_on = block.last().is_none_or(|last| {
                    last.name() == "LinkADRReq" && request.name() == "LinkADRReq"
                });
                if !goes_on {
                    self.ask(asked, number, std::mem::take(&mut block), refused, plan);
                }
                block.push(request.clone());
            }
            if !block.is_empty() {
                self.ask(asked, number, block, refused, plan);
            }
        }
    }

    fn ask(
        &mut self,
        asked: usize,
        turn: usize,
        requests: Vec<Command>,
        refused: bool,
        plan: Option<&'static Plan>,
    ) {
        let due = requests.first().is_some_and(|request| is_answered(request, plan));
        let fate = match (refused, due) {
            (true, _) => Fate::NotSent,
            (false, false) => Fate::NoAnswerDue,
            (false, true) => {
                self.pending.push(self.exchanges.len());
                Fate::Open
            }
        };
        let repeats = Vec::new();
        self.exchanges.push(Exchange { asked, turn: Some(turn), requests, fate, repeats });
    }
}

impl Exchange {
    fn hear(&mut self, turn: usize, at: usize, answer: &Command, late: bool) {
        let mut answered = match std::mem::replace(&mut self.fate, Fate::Open) {
            Fate::Taken(answered) | Fate::Refused(answered) => answered,
            _ => Answered { at, turn, commands: Vec::new(), late },
        };
        answered.commands.push(answer.clone());
        let taken = answered.commands.iter().all(takes);
        self.fate = if taken { Fate::Taken(answered) } else { Fate::Refused(answered) };
    }
}
