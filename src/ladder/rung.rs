//! What the three ladders have in common: rungs, their states, and a ladder indexed by rung.

use std::{fmt, ops};

use crate::fact::{Fact, fact};

/// Which of the three ladders.
#[derive(Clone, Copy, Debug, Eq, Hash, Ord, PartialEq, PartialOrd)]
pub enum LadderName {
    /// A gateway's: from its first datagram to a downlink that it transmits.
    Gateway,
    /// A node's attempts to join.
    Join,
    /// A node's sessions.
    Session,
}

impl LadderName {
    /// Returns `gateway`, `join` or `session`.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Gateway => "gateway",
            Self::Join => "join",
            Self::Session => "session",
        }
    }
}

/// The rungs of one ladder: an enum, in order.
pub trait Rungs: Copy + fmt::Debug + Eq + 'static {
    /// The ladder.
    const LADDER: LadderName;
    /// Every rung, from the ground up.
    const ALL: &'static [Self];

    /// Returns the name that JSON and text print.
    fn name(self) -> &'static str;

    /// Returns the statement that the rung makes.
    fn statement(self) -> &'static str;

    /// Returns its number, from 1.
    fn number(self) -> usize {
        Self::ALL.iter().position(|rung| *rung == self).map_or(0, |place| place + 1)
    }
}

/// Makes the enum `Rung` of a ladder: its names, its statements, and one module a rung that judges it.
macro_rules! rungs {
    ($ladder:ident: $case:ty => $($module:ident $rung:ident $name:literal, $statement:literal;)*) => {
        $(pub(in crate::ladder) mod $module;)*

        /// A rung of the ladder.
        #[derive(Clone, Copy, Debug, Eq, Hash, Ord, PartialEq, PartialOrd)]
        pub enum Rung {
            $(#[doc = $statement] $rung,)*
        }

        impl $crate::ladder::rung::Rungs for Rung {
            const LADDER: $crate::ladder::rung::LadderName =
                $crate::ladder::rung::LadderName::$ladder;
            const ALL: &'static [Self] = &[$(Self::$rung,)*];

            fn name(self) -> &'static str {
                match self { $(Self::$rung => $name,)* }
            }

            fn statement(self) -> &'static str {
                match self { $(Self::$rung => $statement,)* }
            }
        }

        impl Rung {
            /// Judges the rung for one climb of a case: one attempt, one session, or the only one.
            fn judge(self, case: &$case, climb: usize) -> $crate::ladder::rung::Judgement {
                match self { $(Self::$rung => $module::judge(case, climb),)* }
            }
        }
    };
}

pub(in crate::ladder) use rungs;

/// Whether a rung holds.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub enum State {
    /// It holds, and the evidence shows it.
    Proven,
    /// It does not hold, and the evidence shows it.
    Broken,
    /// The evidence does not decide.
    Unknown,
}

impl State {
    /// Every state, in the order of a tally.
    pub const ALL: [Self; 3] = [Self::Proven, Self::Broken, Self::Unknown];

    /// Returns `proven`, `broken` or `unknown`.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Proven => "proven",
            Self::Broken => "broken",
            Self::Unknown => "unknown",
        }
    }
}

/// A rung's state, and what shows it.
#[derive(Clone, Debug, PartialEq)]
pub struct Judgement {
    /// The state.
    pub state: State,
    /// What shows it: which frame, which computation.
    pub evidence: Vec<Fact>,
}

impl Judgement {
    fn new(state: State, evidence: impl Into<Fact>) -> Self {
        Self { state, evidence: vec![evidence.into()] }
    }

    pub(in crate::ladder) fn proven(evidence: impl Into<Fact>) -> Self {
        Self::new(State::Proven, evidence)
    }

    pub(in crate::ladder) fn broken(evidence: impl Into<Fact>) -> Self {
        Self::new(State::Broken, evidence)
    }

    pub(in crate::ladder) fn unknown(evidence: impl Into<Fact>) -> Self {
        Self::new(State::Unknown, evidence)
    }

    /// A rung that nobody has judged.
    pub(in crate::ladder) const fn open() -> Self {
        Self { state: State::Unknown, evidence: Vec::new() }
    }

    pub(in crate::ladder) fn and(mut self, evidence: impl Into<Fact>) -> Self {
        self.evidence.push(evidence.into());
        self
    }

    pub(in crate::ladder) fn add(&mut self, evidence: impl Into<Fact>) {
        self.evidence.push(evidence.into());
    }
}

/// A rung as it is shown, whichever ladder it is of.
#[derive(Clone, Copy, Debug)]
pub struct RungView<'a> {
    /// Its number, from 1.
    pub number: usize,
    /// Its name.
    pub name: &'static str,
    /// Its statement.
    pub statement: &'static str,
    /// Its state and evidence.
    pub judgement: &'a Judgement,
}

/// One climb of a ladder: a judgement for every rung, found by the rung's name.
#[derive(Clone, Debug, PartialEq)]
pub struct Ladder<R>(Vec<(R, Judgement)>);

impl<R: Rungs> Ladder<R> {
    /// Returns a ladder with a judgement for each rung.
    pub(in crate::ladder) fn of(mut judge: impl FnMut(R) -> Judgement) -> Self {
        Self(R::ALL.iter().map(|rung| (*rung, judge(*rung))).collect())
    }

    /// Returns a ladder that nobody has climbed.
    pub(in crate::ladder) fn open() -> Self {
        Self::of(|_| Judgement::open())
    }

    /// Returns the rungs with their judgements, from the ground up.
    pub fn iter(&self) -> impl Iterator<Item = (R, &Judgement)> + Clone {
        self.0.iter().map(|(rung, judgement)| (*rung, judgement))
    }

    /// Returns the rungs as every ladder's are shown.
    pub fn view(&self) -> impl Iterator<Item = RungView<'_>> + Clone {
        self.iter().map(|(rung, judgement)| RungView {
            number: rung.number(),
            name: rung.name(),
            statement: rung.statement(),
            judgement,
        })
    }

    /// Returns a rung's state.
    pub fn state(&self, rung: R) -> State {
        self[rung].state
    }

    /// Returns the lowest rung in a state.
    pub fn first(&self, state: State) -> Option<R> {
        self.iter().find(|(_, judgement)| judgement.state == state).map(|(rung, _)| rung)
    }

    /// Returns the lowest rung that is broken.
    pub fn first_broken(&self) -> Option<R> {
        self.first(State::Broken)
    }

    /// Returns how many rungs are in a state.
    pub fn count(&self, state: State) -> usize {
        self.0.iter().filter(|(_, judgement)| judgement.state == state).count()
    }

    /// Says of each rung how the other climbs stand, where they stand otherwise.
    pub(in crate::ladder) fn tally_others(
        &mut self,
        all: &[Self],
        own: Option<usize>,
        climb: &'static str,
    ) {
        let others = || all.iter().enumerate().filter(|(i, _)| Some(*i) != own).map(|(_, l)| l);
        let n = others().count();
        for (rung, judgement) in &mut self.0 {
            if others().all(|ladder| ladder.state(*rung) == judgement.state) {
                continue;
            }
            let tally = State::ALL
                .into_iter()
                .map(|state| (others().filter(|l| l.state(*rung) == state).count(), state))
                .filter(|(n, _)| *n > 0)
                .map(|(n, state)| fact!("{n} {state}", n, state = state.name()))
                .collect();
            judgement.add(fact!(
                "of the other {climbs}: {tally}",
                climbs = crate::fact::Value::Count(n as u64, climb),
                tally = Fact::joined(tally, ", ")
            ));
        }
    }
}

impl<R: Rungs> ops::Index<R> for Ladder<R> {
    type Output = Judgement;

    #[expect(clippy::expect_used, reason = "a ladder is made with every rung")]
    fn index(&self, rung: R) -> &Judgement {
        let found = self.0.iter().find(|(own, _)| *own == rung);
        found.map(|(_, judgement)| judgement).expect("a ladder has every rung")
    }
}

impl<R: Rungs> ops::IndexMut<R> for Ladder<R> {
    #[expect(clippy::expect_used, reason = "a ladder is made with every rung")]
    fn index_mut(&mut self, rung: R) -> &mut Judgement {
        let found = self.0.iter_mut().find(|(own, _)| *own == rung);
        found.map(|(_, judgement)| judgement).expect("a ladder has every rung")
    }
}
