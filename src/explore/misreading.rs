//! The explorer of misread standards: the root key is right, yet a MIC or a payload is not.
//!
//! Firmware and servers misread the standard in ways that repeat: NetID where JoinEUI belongs, a
//! nonce turned round, the MIC rule of the other version. Each such mistake is a [`Row`] of one
//! table, and is nothing but a small change to a [`Recipe`], the plain description of how blocks,
//! keys and MICs are made. The explorers build what each mistake, and then each pair of them,
//! would have made of the values at hand, and report those that fit every frame.
//!
//! | function | what does not verify |
//! |----------|----------------------|
//! | [`explore_request`] | the MIC of Join-Requests, under a root key that is right |
//! | [`explore_accept`] | a Join-Accept: its cipher or its MIC |
//! | [`explore_session`] | the data frames that follow a good Join-Accept |
//! | [`explore_record`] | session keys on record, held against the join itself |
//! | [`explore_payload`] | FRMPayload of frames whose MIC holds |
//! | [`explore_fopts`] | FOpts of a 1.1 session whose MICs hold |
//!
//! Nothing is reported where the standard's own way holds. What is reported says the odds that it
//! is an accident: candidates tried, times two to the minus bits compared in frames that the
//! standard's way does not explain. Which claim a key comes from, and the words for the user, are
//! the ladder's business; keys that are themselves wrong are the near-miss explorer's.

mod accept;
mod compute;
mod data;
mod derive;
mod fopts;
mod payload;
mod recipe;
mod record;
mod request;
mod search;
mod session;
mod table;
#[cfg(test)]
mod world;

pub use accept::{AcceptCase, Asked, explore_accept};
pub use data::Heard;
pub use derive::Join;
pub use fopts::{FOptsCase, explore_fopts};
pub use payload::{Criterion, PayloadCase, explore_payload};
pub use recipe::{Recipe, Rule, Slot};
pub use record::{Recorded, explore_record};
pub use request::explore_request;
pub use session::{SessionCase, explore_session};
pub use table::rows;

use crate::{
    id::{DevNonce, JoinNonce},
    key::Aes128Key,
};

/// What a mistake spoils: the explorer that looks for it.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub enum Subject {
    /// The MIC of a Join-Request.
    Request,
    /// A Join-Accept: its cipher and its MIC.
    Accept,
    /// The network session keys, and with them AppSKey.
    Keys,
    /// The MIC of data frames.
    DataMic,
    /// AppSKey alone, and the cipher of FRMPayload.
    Payload,
    /// The cipher of FOpts (1.1).
    FOpts,
}

/// What goes wrong: mistakes of one family are corrected in one place.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub enum Family {
    /// The node makes the MIC of a Join-Request in a way of its own.
    RequestMic,
    /// The server signs or encrypts a Join-Accept in a way of its own.
    AcceptSealing,
    /// A Join-Accept answers another request.
    AcceptOfAnotherRequest,
    /// The MIC of a Join-Accept follows one version's rule, OptNeg the other's.
    AcceptVersion,
    /// Session keys are derived in a way of its own.
    SessionKeys,
    /// Session keys are derived by the rule of 1.1, though OptNeg is clear.
    FallbackIgnored,
    /// Session keys are derived by the rule of 1.0, though OptNeg is set.
    VersionOverstated,
    /// The MIC of data is made in a way of its own.
    DataMic,
    /// The upper half of a counter is lost.
    UpperHalf,
    /// AppSKey is of another join.
    OtherJoin,
    /// FRMPayload is encrypted in a way of its own.
    PayloadCipher,
    /// FOpts are encrypted in a way of its own.
    FOptsCipher,
}

/// Who can make a mistake at all, before any evidence.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub enum Maker {
    /// The node: it alone makes such a frame.
    Node,
    /// The server: it alone makes such a frame.
    Server,
    /// Either: who did is told by the direction of the frame that shows it.
    Either,
}

/// One mistake: a row of the table.
#[derive(Clone, Copy)]
pub struct Row {
    /// Its name, never reused.
    pub id: &'static str,
    /// What the side that makes it does, as the end of a sentence that begins with the side.
    pub what: &'static str,
    /// What a user sees of it.
    pub seen: &'static str,
    /// Where the standard says otherwise.
    pub standard: &'static str,
    /// What goes wrong by it.
    pub family: Family,
    /// What it spoils.
    pub subject: Subject,
    /// Who can make it.
    pub maker: Maker,
    /// What it changes.
    pub(crate) apply: fn(&mut Recipe),
}

impl Row {
    /// Makes this mistake in a recipe.
    pub fn apply(&self, recipe: &mut Recipe) {
        (self.apply)(recipe);
    }
}

impl std::fmt::Debug for Row {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.id)
    }
}

impl PartialEq for Row {
    fn eq(&self, other: &Self) -> bool {
        self.id == other.id
    }
}

impl Eq for Row {}

/// Whose mistake the evidence shows.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Side {
    /// The node made what holds under the mistake alone.
    Node,
    /// The server made it, or keeps it on record.
    Server,
    /// The evidence does not decide.
    CannotTell {
        /// Why not.
        why: &'static str,
    },
}

/// The role in which a root key is claimed.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub enum Role {
    /// AppKey: the root key of 1.0.x, the application root key of 1.1.
    App,
    /// NwkKey: the network root key of 1.1.
    Nwk,
}

/// A root key that somebody claims, and the words for it.
#[derive(Clone, Copy, Debug)]
pub struct Known<'a> {
    /// What to call it: `firmware NwkKey`.
    pub label: &'a str,
    /// The key.
    pub key: &'a Aes128Key,
    /// Its role.
    pub role: Role,
}

/// A mistake, or two together, under which every frame holds.
#[derive(Clone, Debug)]
pub struct Finding {
    /// The mistakes: one, or two that were made together.
    pub mistakes: Vec<&'static Row>,
    /// Others, as near, that come to the same octets in these frames: they cannot be told apart.
    pub alike: Vec<Vec<&'static Row>>,
    /// The labels of the root key it takes.
    pub roots: Vec<String>,
    /// The other attempt's DevNonce or RJcount, where the mistake takes one.
    pub nonce: Option<DevNonce>,
    /// The other accept's JoinNonce, where the mistake takes one.
    pub join_nonce: Option<JoinNonce>,
    /// Frames (or keys on record) that hold under it: all that were given and can be tested.
    pub held: usize,
    /// Those among them that the standard's way does not explain.
    pub decided_by: usize,
    /// Candidates tried until here.
    pub tried: u64,
    /// The odds that one of the candidates fits by accident.
    pub odds: f64,
    /// Whose mistake it is.
    pub side: Side,
}

impl Finding {
    /// Returns the families of the mistakes, each once.
    pub fn families(&self) -> Vec<Family> {
        let mut families: Vec<_> = self.mistakes.iter().map(|row| row.family).collect();
        families.dedup();
        families
    }

    /// Returns the family of the mistake that comes first.
    pub fn first_family(&self) -> Option<Family> {
        self.mistakes.first().map(|row| row.family)
    }

    /// Returns every reading that fits: `mistakes`, then `alike`.
    pub fn readings(&self) -> impl Iterator<Item = &[&'static Row]> {
        std::iter::once(self.mistakes.as_slice()).chain(self.alike.iter().map(Vec::as_slice))
    }

    /// Returns whether every reading that fits is of the same families.
    pub fn is_of_one_family(&self) -> bool {
        let families = self.families();
        self.alike.iter().flatten().all(|row| families.contains(&row.family))
    }
}

/// What an explorer answers.
#[derive(Clone, Debug)]
pub enum Answer {
    /// The standard's own way holds: there is nothing to explain.
    StandardHolds,
    /// These mistakes explain it, the likeliest first.
    Misread(Vec<Finding>),
    /// No mistake of the table, and no pair of them, explains it.
    NotFound {
        /// Candidates tried.
        tried: u64,
    },
    /// There is too little evidence.
    CannotTell {
        /// What is missing.
        why: &'static str,
    },
}

impl Answer {
    /// Returns how many candidates were tried, as far as the answer says.
    pub fn tried(&self) -> u64 {
        match self {
            Self::Misread(findings) => findings.first().map_or(0, |finding| finding.tried),
            Self::NotFound { tried } => *tried,
            Self::StandardHolds | Self::CannotTell { .. } => 0,
        }
    }

    /// Returns the findings, if there are any.
    pub fn findings(&self) -> &[Finding] {
        match self {
            Self::Misread(findings) => findings,
            Self::StandardHolds | Self::NotFound { .. } | Self::CannotTell { .. } => &[],
        }
    }
}

/// A root key and every label under which that value is claimed.
#[derive(Clone, Debug)]
struct Root<'a> {
    key: &'a Aes128Key,
    labels: Vec<&'a str>,
    is_app: bool,
}

impl Root<'_> {
    fn labels(&self) -> Vec<String> {
        self.labels.iter().map(|&label| label.to_owned()).collect()
    }
}

/// Returns each value once: two claims of one key are one candidate, and one accident.
fn distinct<'a>(known: impl IntoIterator<Item = Known<'a>>) -> Vec<Root<'a>> {
    let mut roots: Vec<Root<'a>> = Vec::new();
    for Known { label, key, role } in known {
        let is_app = role == Role::App;
        match roots.iter_mut().find(|root| root.key.same_as(key)) {
            Some(root) => {
                root.labels.push(label);
                root.is_app |= is_app;
            }
            None => roots.push(Root { key, labels: vec![label], is_app }),
        }
    }
    roots
}

/// More values than this of one kind (other nonces, other joins) are not looked at: the newest
/// stand first, and each one more makes an accident likelier.
const MOST_OTHERS: usize = 32;
