//! Near-miss keys and identities: which mistake made a value what it is.
//!
//! A MIC fails under every key that is claimed. Then the key in the node is most often one that a
//! person or a program made of a claimed one: typed wrong, turned about, put into another slot, or
//! left at a published value. [`search`] tries these, the nearest first, and stops after the first
//! kind of mistake that fits; [`eui_relation`] names the mistake between two EUIs that are both
//! known.
//!
//! | kind of mistake | candidates around one key |
//! |-----------------|---------------------------|
//! | another known key, octets reversed | 1 each |
//! | words, octets, digits, bits in another order; moved round | 43 |
//! | a key's text for the key | 14 |
//! | made of an EUI; a published value | 24; 278 (once, not for each key) |
//! | one digit wrong; the same and octets reversed | 480; 480 |
//! | neighbours exchanged; any two digits or octets exchanged | 31; 585 |
//! | one digit read as another throughout | up to 240 |
//! | a digit, an octet dropped, doubled or put in | some 2,000; 16,000 |
//! | one octet wrong | 3,600 |
//! | several look-alike digits | some 30,000 |
//! | two digits wrong | 111,600 |
//! | three digits wrong | 16,740,000 |
//!
//! A hit must hold for every frame given. A wrong key passes one frame in 2^32, so `n` candidates
//! pass `f` distinct frames by accident n / 2^(32 f) times; every hit carries that number
//! ([`Hit::odds`]) and what may be said of it ([`Certainty`]).
//!
//! This looks around keys that the user gave and nowhere else. It is no key breaker: three digits
//! are where it ends, and a key that none of the mistakes above made is never found by it.

mod by_trial;
mod classes;
mod damaged;
mod digits;
mod from_eui;
mod identity;
mod kernel;
mod look_alike;
mod mistake;
mod order;
mod run;
mod sample;
mod sink;
mod slip;
mod text_form;

use std::{
    fmt,
    sync::atomic::{AtomicBool, Ordering},
};

pub use by_trial::search_by_trial;
pub use classes::MistakeClass;
pub use damaged::{Completed, complete};
pub use digits::{Digit, End, Unit};
pub use from_eui::{EuiKey, EuiName};
pub use identity::{PairMistake, eui_relation, key_change, pair_relation};
pub use mistake::{Mistake, Nature};
pub use order::Order;
pub use sample::{Sample, is_placeholder, sample};
pub use text_form::{Letters, TextForm, looks_like_text};

pub use crate::fact::Certainty;
use crate::{
    frame::{JoinRequest, Mic},
    id::{DevEui, JoinEui},
    key::Aes128Key,
};

/// A frame that the key in use must explain.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct Target {
    /// All octets that the MIC covers: MHDR to DevNonce of a Join-Request; B0 and msg of data.
    pub signed: Vec<u8>,
    /// The MIC as received.
    pub mic: Mic,
}

impl From<&JoinRequest> for Target {
    fn from(request: &JoinRequest) -> Self {
        let mut signed = Vec::with_capacity(JoinRequest::LEN);
        request.put_signed(&mut signed);
        Self { signed, mic: request.mic }
    }
}

/// What a known key is to the frames.
///
/// It decides how far around it is searched: nobody mistypes another node's key into this one.
#[derive(Clone, Copy, Debug, Eq, Hash, Ord, PartialEq, PartialOrd)]
pub enum KnownKind {
    /// A claim says that it signs these frames. Searched as far as [`Effort::max_digits`] says.
    Claimed,
    /// The node's, in another role. Searched up to two digits.
    OtherRole,
    /// A session key of the node. Searched up to two digits.
    Session,
    /// Another node's. Tried as it stands and with its octets reversed.
    OtherNode,
}

/// A key that the user gave.
#[derive(Clone, Debug)]
pub struct Known<'a> {
    /// Its name in a sentence: "the record's AppKey".
    pub label: String,
    /// The key.
    pub key: &'a Aes128Key,
    /// What it is to the frames.
    pub kind: KnownKind,
}

/// All that is known and may have been mixed into the key.
#[derive(Clone, Debug, Default)]
pub struct Clues<'a> {
    /// Keys. Where two have one value, the first of the nearer kind stands for both.
    pub known: Vec<Known<'a>>,
    /// The node's DevEUI.
    pub dev_eui: Option<DevEui>,
    /// The node's JoinEUI.
    pub join_eui: Option<JoinEui>,
}

/// How far to search, and who may end it.
#[derive(Clone, Copy)]
pub struct Effort<'a> {
    /// How many wrong digits at most: 1, 2 (with look-alikes) or 3.
    pub max_digits: u8,
    /// Set by whoever wants the search to stop; looked at every few thousand candidates.
    pub stop: &'a AtomicBool,
    /// Told how many candidates of how many were tried; called from every thread of the search.
    pub progress: Option<&'a (dyn Fn(u64, u64) + Sync)>,
}

impl Default for Effort<'_> {
    /// Two digits, not to be stopped: done in a blink.
    fn default() -> Self {
        static NEVER: AtomicBool = AtomicBool::new(false);
        Self { max_digits: 2, stop: &NEVER, progress: None }
    }
}

impl fmt::Debug for Effort<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Effort")
            .field("max_digits", &self.max_digits)
            .field("stop", &self.stop.load(Ordering::Relaxed))
            .field("progress", &self.progress.is_some())
            .finish()
    }
}

/// A key that explains every frame, and the mistake that made it.
#[derive(Clone, Debug)]
pub struct Hit {
    /// The mistake.
    pub mistake: Mistake,
    /// Which known key it was made of: the index in [`Clues::known`]. `None` where the mistake
    /// needs none: a published value, or one made of an EUI.
    pub known: Option<usize>,
    /// The key in use. Mute in `Debug`.
    pub key: Aes128Key,
    /// How many distinct frames it explains.
    pub frames: usize,
    /// How many candidates were tried until the end of its kind of mistake.
    pub tried: u64,
    /// How many of them would be expected to explain the frames by accident.
    pub odds: f64,
    /// What these odds allow to say.
    pub certainty: Certainty,
}

impl Hit {
    /// Returns the sentence: what the frames agree with.
    pub fn sentence(&self, clues: &Clues<'_>) -> String {
        let known = self.known.and_then(|known| clues.known.get(known));
        self.mistake.of_key(known.map_or("a known key", |known| &known.label))
    }

    /// Returns the sentence without a digit of any key.
    pub fn sentence_by_places(&self, clues: &Clues<'_>) -> String {
        let known = self.known.and_then(|known| clues.known.get(known));
        self.mistake.of_key_by_places(known.map_or("a known key", |known| &known.label))
    }
}

/// How much of a kind of mistake was tried.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct Covered {
    /// The kind.
    pub class: MistakeClass,
    /// Candidates tried.
    pub tried: u64,
    /// Candidates that there are; more than were tried only when the search was stopped.
    pub total: u64,
}

/// What a search found, and how far it went.
#[derive(Clone, Debug, Default)]
pub struct Report {
    /// Hits, all of one kind of mistake, in the order of the known keys.
    pub hits: Vec<Hit>,
    /// What was tried, the nearest first.
    pub covered: Vec<Covered>,
    /// Whether it was stopped before its end.
    pub interrupted: bool,
}

impl Report {
    /// Returns how many candidates were tried.
    pub fn tried(&self) -> u64 {
        self.covered.iter().map(|covered| covered.tried).sum()
    }
}

/// Returns how many of `tried` wrong keys explain `frames` distinct frames by accident.
pub fn odds(tried: u64, frames: usize) -> f64 {
    let exponent = i32::try_from(frames).map_or(i32::MIN, |frames| frames.saturating_mul(-32));
    // exact up to 2^53 candidates, of which no search comes near
    #[expect(clippy::cast_precision_loss, reason = "an estimate")]
    let tried = tried as f64;
    tried * 2f64.powi(exponent)
}

/// Searches the keys that a mistake could have made of the known ones for those that explain
/// every target.
///
/// Kinds of mistake are tried nearest first; the first kind that hits is finished and ends the
/// search. A frame given twice counts once. Without a target nothing is searched.
///
/// ```
/// use handfast::{
///     crypto::mic,
///     frame::JoinRequest,
///     id::DevNonce,
///     key::AppKey,
///     explore::near_miss::{Certainty, Clues, Effort, Known, KnownKind, Target, search},
/// };
///
/// // the record has an 8 for the 3 on the label
/// let record: AppKey = "D2306C9B9A5F88016208103F7E8A07A6".parse()?;
/// let node: AppKey = "D2306C9B9A5F83016208103F7E8A07A6".parse()?;
/// let mut request = JoinRequest::new(
///     "020000FFFE0B2F67".parse()?,
///     "020000FFFEE466AE".parse()?,
///     DevNonce(50739),
/// );
/// request.mic = mic::join_request(&node, &request);
///
/// let known = Known {
///     label: "the record's AppKey".into(),
///     key: record.key(),
///     kind: KnownKind::Claimed,
/// };
/// let clues = Clues { known: vec![known], ..Clues::default() };
/// let report = search(&clues, &[Target::from(&request)], &Effort::default());
/// assert_eq!(
///     report.hits[0].sentence(&clues),
///     "digit 14: the record's AppKey has 8 where the frames agree with 3"
/// );
/// assert_eq!(report.hits[0].certainty, Certainty::Certain);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn search(clues: &Clues<'_>, targets: &[Target], effort: &Effort<'_>) -> Report {
    run::Search::new(clues, targets, effort).run()
}
