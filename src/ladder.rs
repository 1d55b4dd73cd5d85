//! The join ladder: ten provable statements, where a join broke, and why.
//!
//! | # | rung | holds when |
//! |---|------|------------|
//! | 1 | heard | a gateway received a Join-Request of this node |
//! | 2 | on-plan | its frequency and data rate are for joins, in the region and the gateway's sub-band |
//! | 3 | identified | its DevEUI and JoinEUI are the ones on record |
//! | 4 | authentic | its MIC holds under the key on record that the version uses |
//! | 5 | fresh | its DevNonce is acceptable under the version's rule |
//! | 6 | answered | a Join-Accept for this node was handed to a gateway |
//! | 7 | timely | it was scheduled into RX1 or RX2: delay, frequency, data rate, polarity |
//! | 8 | sent | the gateway took it for transmission |
//! | 9 | acceptable | the node can decrypt and authenticate it, and its fields are lawful |
//! | 10 | proven | the next uplink of the new DevAddr authenticates under the derived keys |
//!
//! Each rung is a file that judges one attempt; each cause is a row of [`CAUSES`] whose check looks
//! at the whole of a node. Nothing is guessed: where the capture does not decide, the state is
//! `unknown` and the report says what to capture next.

mod acceptable;
mod after;
mod answered;
mod authentic;
mod case;
mod cause;
mod console;
mod fresh;
mod heard;
mod identified;
pub mod misreading;
pub mod near_miss;
mod next;
mod on_plan;
mod outcome;
mod proven;
mod sent;
mod timely;
mod words;

use jiff::Timestamp;

use crate::{
    id::{DevEui, JoinEui},
    region::Plan,
    roster::Roster,
    trace::Trace,
};

pub use cause::{CANNOT_TELL, CAUSES, Cause, Certainty, Verdict};
pub use outcome::Outcome;

#[cfg(feature = "page")]
pub(crate) use timely::{SAME_HZ, SAME_US};

#[cfg(feature = "cli")]
pub(crate) use console::is_told;

use case::Case;

/// A rung of the ladder.
#[derive(Clone, Copy, Debug, Eq, Hash, Ord, PartialEq, PartialOrd)]
pub enum Rung {
    /// A gateway received a request of this node.
    Heard,
    /// Its frequency and data rate are for joins.
    OnPlan,
    /// Its identity is on record.
    Identified,
    /// Its MIC holds under the key on record.
    Authentic,
    /// Its DevNonce is acceptable.
    Fresh,
    /// A Join-Accept was handed to a gateway.
    Answered,
    /// That accept was aimed at a receive window.
    Timely,
    /// The gateway took it.
    Sent,
    /// The node can take it.
    Acceptable,
    /// The node's data authenticates.
    Proven,
}

impl Rung {
    /// Every rung, from the ground up.
    pub const ALL: [Self; 10] = [
        Self::Heard,
        Self::OnPlan,
        Self::Identified,
        Self::Authentic,
        Self::Fresh,
        Self::Answered,
        Self::Timely,
        Self::Sent,
        Self::Acceptable,
        Self::Proven,
    ];

    /// Returns the name that JSON and text print.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Heard => "heard",
            Self::OnPlan => "on-plan",
            Self::Identified => "identified",
            Self::Authentic => "authentic",
            Self::Fresh => "fresh",
            Self::Answered => "answered",
            Self::Timely => "timely",
            Self::Sent => "sent",
            Self::Acceptable => "acceptable",
            Self::Proven => "proven",
        }
    }

    /// Returns the statement that the rung makes.
    pub const fn statement(self) -> &'static str {
        match self {
            Self::Heard => "a gateway received a Join-Request of this node",
            Self::OnPlan => "its frequency and data rate are for joins in this region",
            Self::Identified => "its DevEUI and JoinEUI are the ones on record",
            Self::Authentic => "its MIC holds under the key on record",
            Self::Fresh => "its DevNonce is acceptable",
            Self::Answered => "a Join-Accept was handed to a gateway",
            Self::Timely => "the accept was aimed at RX1 or RX2",
            Self::Sent => "the gateway took it for transmission",
            Self::Acceptable => "the node can open it, and its fields are lawful",
            Self::Proven => "data under the new DevAddr authenticates",
        }
    }

    /// Returns its number, from 1.
    pub const fn number(self) -> usize {
        self as usize + 1
    }
}

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
    /// Returns `proven`, `broken` or `unknown`.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Proven => "proven",
            Self::Broken => "broken",
            Self::Unknown => "unknown",
        }
    }
}

/// A rung's state for one attempt, and what shows it.
#[derive(Clone, Debug)]
pub struct Judgement {
    /// The state.
    pub state: State,
    /// What shows it: which frame, which computation.
    pub evidence: Vec<String>,
}

impl Judgement {
    fn new(state: State, evidence: impl Into<String>) -> Self {
        Self { state, evidence: vec![evidence.into()] }
    }

    fn proven(evidence: impl Into<String>) -> Self {
        Self::new(State::Proven, evidence)
    }

    fn broken(evidence: impl Into<String>) -> Self {
        Self::new(State::Broken, evidence)
    }

    fn unknown(evidence: impl Into<String>) -> Self {
        Self::new(State::Unknown, evidence)
    }

    fn and(mut self, evidence: impl Into<String>) -> Self {
        self.evidence.push(evidence.into());
        self
    }
}

/// A rung of a diagnosis.
#[derive(Clone, Debug)]
pub struct RungReport {
    /// The rung.
    pub rung: Rung,
    /// Its state and evidence.
    pub judgement: Judgement,
}

/// What there is to say of one node.
#[derive(Clone, Debug)]
pub struct Diagnosis {
    /// Its place in [`Trace::nodes`].
    pub place: usize,
    /// Which of its attempts the rungs are of, by its place in the node's; `None` where it made none.
    pub told: Option<usize>,
    /// Its name on the roster; `None` for a stranger.
    pub name: Option<String>,
    /// DevEUI, as heard or else as claimed.
    pub dev_eui: Option<DevEui>,
    /// JoinEUI, likewise.
    pub join_eui: Option<JoinEui>,
    /// The channel plan against which it was judged.
    pub plan: Option<&'static Plan>,
    /// How it ended.
    pub outcome: Outcome,
    /// All ten rungs of the attempt that matters most.
    pub rungs: Vec<RungReport>,
    /// Why it broke; the cause that bites first leads.
    pub causes: Vec<Verdict>,
    /// What to capture or to look up next.
    pub next: Vec<String>,
    /// Whether the node is a neighbour's: on no roster, while there is one.
    pub stranger: bool,
    /// How many attempts to join there were.
    pub attempts: usize,
    /// How many data frames authenticated.
    pub data: usize,
    /// How many of the attempts and of the data frames were counted, but not kept to be judged:
    /// those that were many and alike.
    pub forgotten: (usize, usize),
    /// What was before was not judged.
    pub before: Option<Timestamp>,
}

impl Diagnosis {
    /// Returns the first rung that is broken.
    pub fn first_broken(&self) -> Option<Rung> {
        let broken = |r: &&RungReport| r.judgement.state == State::Broken;
        self.rungs.iter().find(broken).map(|r| r.rung)
    }

    /// Returns whether something is wrong with this node. What a neighbour's node lacks is not.
    pub fn has_fault(&self) -> bool {
        !self.causes.is_empty() || (!self.stranger && self.first_broken().is_some())
    }
}

/// What a diagnosis is to assume where the roster is silent.
#[derive(Clone, Copy, Debug, Default)]
pub struct Options<'a> {
    /// The channel plan.
    pub plan: Option<&'static Plan>,
    /// How far the explorers search around the keys given.
    pub effort: near_miss::Effort<'a>,
}

/// Climbs the ladder for every node of a trace: those of the roster first, then strangers.
pub fn diagnose(trace: &Trace, roster: &Roster, options: Options<'_>) -> Vec<Diagnosis> {
    let wide = std::cell::Cell::new(WIDE_SEARCHES);
    let of = |(place, node)| Case::new(trace, roster, node, options, &wide).diagnose(place);
    trace.nodes.iter().enumerate().map(of).collect()
}

/// Climbs the ladder for the node at one place of [`Trace::nodes`].
pub fn diagnose_node(
    trace: &Trace,
    roster: &Roster,
    place: usize,
    options: Options<'_>,
) -> Option<Diagnosis> {
    let wide = std::cell::Cell::new(WIDE_SEARCHES);
    let node = trace.nodes.get(place)?;
    Some(Case::new(trace, roster, node, options, &wide).diagnose(place))
}

/// Nodes for which keys three digits away are searched in one run.
const WIDE_SEARCHES: u32 = 8;
