//! Sessions: addresses, keys, and the data that authenticates under them.

use super::{
    Kept, KeyRef, Line, Rule, Sending, Transmission,
    counters::{Counters, Given},
};
use crate::{
    crypto::{
        DataMismatch, IntegrityKeys, MicInput, Proof, Verified, Verifier, block::UplinkContext,
        derive::SessionKeys,
    },
    frame::DataFrame,
    id::DevAddr,
    roster::ClaimKind,
};

/// A session: an address, and the keys that may belong to it.
#[derive(Clone, Debug)]
pub struct Session {
    /// The address.
    pub dev_addr: DevAddr,
    /// Where it comes from.
    pub origin: Origin,
    /// The keys it may have; those that the standard derives stand first.
    pub candidates: Vec<Candidate>,
    /// The data that authenticates, in order.
    pub frames: Kept<DataSeen>,
    /// Uplinks that are forgotten.
    pub forgotten_up: usize,
    /// Made ready when a frame is to be checked.
    verifiers: Ready,
    counters: Counters,
}

/// Where a session comes from.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Origin {
    /// A Join-Accept: the attempt of the node, and which of its answers.
    Accept {
        /// Place in the node's attempts.
        attempt: usize,
        /// Place in the attempt's answers.
        answer: usize,
    },
    /// A claim that states address and keys.
    Claim(ClaimKind),
}

/// One set of keys that a session may have.
#[derive(Clone, Debug)]
pub struct Candidate {
    /// The keys.
    pub keys: SessionKeys,
    /// The rule that derives them.
    pub rule: Rule,
    /// The root key, where they are derived.
    pub root: Option<KeyRef>,
    /// Whether the standard derives them so.
    pub lawful: bool,
}

/// A data frame and who heard or sent it.
#[derive(Clone, Debug)]
pub enum Data {
    /// Up.
    Up {
        /// The frame.
        frame: DataFrame,
        /// Who heard it.
        heard: Transmission,
    },
    /// Down.
    Down {
        /// The frame.
        frame: DataFrame,
        /// As handed to the gateway.
        sending: Sending,
        /// Microseconds from the end of the session's last uplink on that gateway to the slot.
        delay_us: Option<u32>,
        /// Place of that uplink in the session's frames.
        answers: Option<usize>,
    },
}

impl Data {
    /// Returns the frame.
    pub const fn frame(&self) -> &DataFrame {
        match self {
            Self::Up { frame, .. } | Self::Down { frame, .. } => frame,
        }
    }

    /// Returns where it first stands.
    pub fn line(&self) -> Line {
        match self {
            Self::Up { heard, .. } => heard.first().line,
            Self::Down { sending, .. } => sending.line,
        }
    }

    /// Returns when it was first captured.
    pub fn at(&self) -> Option<jiff::Timestamp> {
        match self {
            Self::Up { heard, .. } => heard.at(),
            Self::Down { sending, .. } => sending.at,
        }
    }

    /// Returns the transmission, if it is an uplink.
    pub const fn heard(&self) -> Option<&Transmission> {
        match self {
            Self::Up { heard, .. } => Some(heard),
            Self::Down { .. } => None,
        }
    }
}

/// A data frame that authenticates in a session.
#[derive(Clone, Debug)]
pub struct DataSeen {
    /// The frame.
    pub data: Data,
    /// Under what.
    pub held: Held,
}

impl DataSeen {
    /// Returns the frame as one whose MIC holds: what its keys encrypt can be decrypted.
    pub fn verified(&self) -> Option<Verified<&DataFrame>> {
        self.held.proof.of(self.data.frame()).ok()
    }
}

/// What makes a MIC hold.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct Held {
    /// Place in the session's candidates.
    pub candidate: usize,
    /// The whole counter.
    pub fcnt: u32,
    /// What stands in B1 of a 1.1 uplink. `None` where it is not needed, and where only the
    /// forwarding half of the MIC was found to hold (`half`).
    pub context: Option<UplinkContext>,
    /// Whether only two of the four octets hold.
    pub half: bool,
    proof: Proof,
}

impl From<Proof> for Held {
    fn from(proof: Proof) -> Self {
        let (candidate, fcnt, context) = (proof.claim(), proof.fcnt(), proof.uplink());
        Self { candidate, fcnt, context, half: proof.is_half(), proof }
    }
}

/// Keys made ready, one verifier a candidate, or none yet: a copy makes its own when it needs them.
#[derive(Debug, Default)]
struct Ready(Vec<Verifier>);

impl Clone for Ready {
    fn clone(&self) -> Self {
        Self::default()
    }
}

impl Session {
    pub(super) fn new(
        dev_addr: DevAddr,
        origin: Origin,
        candidates: Vec<Candidate>,
        counters: Counters,
    ) -> Self {
        Self {
            dev_addr,
            origin,
            verifiers: Ready::default(),
            candidates,
            frames: Kept::default(),
            forgotten_up: 0,
            counters,
        }
    }

    /// Computes the key schedules that a check needs.
    fn wake(&mut self) {
        if !self.verifiers.0.is_empty() {
            return;
        }
        let keys = self.candidates.iter().map(|candidate| IntegrityKeys::from(&candidate.keys));
        let verifiers = keys.enumerate().map(|(candidate, keys)| Verifier::new(candidate, keys));
        self.verifiers = Ready(verifiers.collect());
    }

    /// Gives the key schedules back; they are computed again when a frame comes.
    pub(super) fn rest(&mut self) {
        self.verifiers = Ready::default();
    }

    /// Returns the frames that went up, with their whole counters.
    pub fn uplinks(&self) -> impl Iterator<Item = (&DataSeen, &Transmission)> {
        self.frames.iter().filter_map(|seen| Some((seen, seen.data.heard()?)))
    }

    /// Returns the candidate under which a frame authenticates.
    pub fn candidate_of(&self, seen: &DataSeen) -> Option<&Candidate> {
        self.candidates.get(seen.held.candidate)
    }

    /// Returns under what the MIC of a frame holds in this session with a counter that is near.
    ///
    /// `tx_dr` is the data rate index of an uplink where the region tells it.
    pub(super) fn verify(&mut self, frame: &DataFrame, tx_dr: Option<u8>) -> Option<Held> {
        self.wake();
        let given = Given { tx_dr, ..Given::default() };
        let mut input = MicInput::of(frame);
        match self.counters.near(&mut self.verifiers.0, &mut input, frame, &given) {
            Ok(verified) => Some(Held::from(*verified.proof())),
            Err(misses) => misses.iter().find_map(DataMismatch::half).map(Held::from),
        }
    }

    /// Returns the same with counters that are farther away; `left` is what the node may still search.
    pub(super) fn search(
        &mut self,
        frame: &DataFrame,
        tx_dr: Option<u8>,
        left: &mut u16,
    ) -> Option<Held> {
        self.wake();
        let given = Given { tx_dr, ..Given::default() };
        let mut input = MicInput::of(frame);
        let verifiers = &mut self.verifiers.0;
        let verified = self.counters.far(verifiers, &mut input, frame, &given, left).ok()?;
        Some(Held::from(*verified.proof()))
    }

    /// Adds a frame that holds, and returns its number.
    pub(super) fn push(&mut self, data: Data, held: Held) -> usize {
        self.counters.take(data.frame(), &held.proof);
        self.frames.push(DataSeen { data, held })
    }
}
