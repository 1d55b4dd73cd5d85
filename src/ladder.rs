//! The three ladders: provable statements, where a node's way to its data breaks, and why.
//!
//! | ladder | climbed | rungs |
//! |--------|---------|-------|
//! | [`gateway`] | once a gateway | from its first datagram to a downlink that it transmits |
//! | [`join`] | once an attempt to join | from the request heard to data under the new keys |
//! | [`session`] | once a session | from its uplinks heard to settings that both sides hold |
//!
//! Each rung is a file that judges one climb. Each cause is a file whose check looks at everything
//! of a node, or of a gateway. Nothing is guessed: where the capture does not decide, the state is
//! `unknown` and the report says what to capture next.
//!
//! Imports run one way: `rung`, `finding` and `subject` know no ladder; `gateway`, `join` and
//! `session` each know those before them; `cause` knows the ladders; `carry` what a gateway explains of a node;
//! `diagnosis` knows all.

mod carry;
mod cause;
mod diagnosis;
mod finding;
pub mod gateway;
pub mod join;
mod next;
mod outcome;
mod rung;
pub mod session;
mod subject;
mod summary;
mod verdict;

pub use crate::fact::Certainty;
pub use cause::{CAUSES, Cause, CauseId, Place};
pub use diagnosis::{
    Diagnosis, Findings, GatewayDiagnosis, SessionDiagnosis, configured, diagnose, diagnose_node,
    judge, session_account,
};
pub use outcome::{GatewayOutcome, Outcome};
pub use rung::{Judgement, Ladder, LadderName, RungView, Rungs, State};
pub use summary::{Frequency, Summary};
pub use verdict::Verdict;

pub(crate) use cause::hits;
#[cfg(feature = "cli")]
pub(crate) use gateway::identity::slip as gateway_slip;

#[cfg(feature = "page")]
pub(crate) use join::timely::{SAME_HZ, SAME_US};

use crate::{explore::near_miss, region::Plan};

/// The page of the outcome `cannot-tell`, which is no cause: the evidence does not decide.
pub const CANNOT_TELL: &str = include_str!("ladder/cannot_tell.md");

/// What a diagnosis is to assume where the roster is silent.
#[derive(Clone, Copy, Debug, Default)]
pub struct Options<'a> {
    /// The channel plan.
    pub plan: Option<&'static Plan>,
    /// How far the explorers search around the keys given.
    pub effort: near_miss::Effort<'a>,
}
