//! Firmware, record and label of nodes held against each other, without any capture.
//!
//! [`gather`] brings what the places say about each node together as a [`Subject`]; [`compare`]
//! says where they differ. Nothing is tried on a frame here: what a difference does to a join is
//! `diagnose`'s to prove, and a difference that may well be right is a [`Severity::Doubt`].
//!
//! ```
//! use handfast::{compare::{Sources, compare, gather}, ladder::CauseId, roster};
//!
//! let text = r#"
//! [[node]]
//! firmware = { dev-eui = "020000fffe001207" }
//! record = { dev-eui = "020000fffe001270" }
//! "#;
//! let gathered = gather(Sources { roster: Some(roster::parse(text, None)?), ..Sources::default() });
//! let report = compare(&gathered.subjects, &gathered.context);
//! assert_eq!(report[0].differences[0].cause, Some(CauseId::DevEuiTypedWrong));
//! # Ok::<(), roster::RosterError>(())
//! ```

mod difference;
mod fleet;
mod gather;
mod identity;
mod keys;
#[cfg(feature = "page")]
mod likeness;
mod missing;
mod orders;
mod relation;
mod sample;
mod settings;
mod slot;
mod words;

pub use difference::{Difference, DifferenceKind, Severity, Side};
pub use gather::{Gathered, Loose, Sources, gather};
#[cfg(feature = "page")]
pub(crate) use likeness::key_likeness;
pub use orders::{OpenOrder, settle_orders};
pub use relation::DigitMark;

use crate::{
    region::Plan,
    roster::{
        ClaimKind, Node,
        firmware::{ByteOrder, OrderFrom, Taken},
    },
};

/// A node, and where what is said about it comes from.
#[derive(Clone, Debug, Default)]
pub struct Subject {
    /// The node's claims.
    pub node: Node,
    /// The values of its firmware that come from a source.
    pub taken: Vec<Taken>,
    /// Where its record stands, if not in the roster: `records.csv line 2`.
    pub record_at: Option<String>,
    /// Where its label is, if not in the roster: `label 1`.
    pub label_at: Option<String>,
    /// How each source was found to be this node's.
    pub matched: Vec<String>,
    /// Whether nothing that is a node's own brought a source here: it may be of another node.
    pub loosely_matched: bool,
}

impl Subject {
    /// Returns in which order the firmware's source has a value, and what tells it.
    fn order(&self, member: &str) -> (ByteOrder, OrderFrom) {
        self.taken
            .iter()
            .find(|taken| taken.member == member)
            .map_or((ByteOrder::Printed, OrderFrom::Form), |taken| (taken.order, taken.order_from))
    }

    /// Returns where a value stands.
    fn at(&self, claim: ClaimKind, member: &str) -> Option<String> {
        match claim {
            ClaimKind::Firmware => self
                .taken
                .iter()
                .find(|taken| taken.member == member)
                .map(|taken| format!("{}:{} {}", taken.file, taken.at.line, taken.identifier)),
            ClaimKind::Record => self.record_at.clone(),
            ClaimKind::Label => self.label_at.clone(),
        }
    }
}

/// What holds for all nodes.
#[derive(Clone, Copy, Debug, Default)]
pub struct Context {
    /// The region of claims that name none.
    pub region: Option<&'static Plan>,
    /// The sub-band of the gateways, from 1.
    pub sub_band: Option<u8>,
}

/// A node and its differences.
#[derive(Clone, Debug)]
pub struct NodeReport {
    /// The node, as it was compared.
    pub subject: Subject,
    /// What differs or looks wrong: faults first, then doubts, then notes.
    pub differences: Vec<Difference>,
}

impl NodeReport {
    /// Returns whether anything is wrong for sure.
    pub fn has_fault(&self) -> bool {
        self.differences.iter().any(|difference| difference.severity == Severity::Fault)
    }
}

/// Holds the claims of each node against each other and against those of the other nodes.
pub fn compare(subjects: &[Subject], context: &Context) -> Vec<NodeReport> {
    let fleet = fleet::Fleet::of(subjects);
    subjects
        .iter()
        .enumerate()
        .map(|(index, subject)| {
            let mut differences = Vec::new();
            identity::check(subject, index, &fleet, &mut differences);
            keys::check(subject, index, &fleet, &mut differences);
            missing::check(subject, &mut differences);
            settings::check(subject, context, &mut differences);
            sample::check(subject, &mut differences);
            fleet.check(subject, index, &mut differences);
            differences.sort_by_key(|difference| difference.severity);
            NodeReport { subject: subject.clone(), differences }
        })
        .collect()
}
