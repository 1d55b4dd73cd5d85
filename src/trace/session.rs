//! Sessions: addresses, keys, and 32-bit counters rebuilt from 16 bits.

use super::{Kept, KeyRef, Line, Rule, Sending, Transmission};
use crate::{
    crypto::{
        IntegrityKeys, MicInput, Proof, Unseen, Verified, Verifier, block::UplinkContext,
        derive::SessionKeys,
    },
    frame::{DataFrame, Direction},
    id::DevAddr,
    roster::ClaimKind,
};

/// Upper halves of a counter beyond the next one are searched to the end for this many frames of
/// a session that nothing nearer explains; after that the keys are taken to be others.
const DEEP_SEARCHES: u8 = 3;

/// Confirmed frames whose counters an ACK may mean.
const REMEMBERED: usize = 8;

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
    deep_left: u8,
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

#[derive(Clone, Debug, Default)]
struct Counters {
    up: Option<u32>,
    down: Option<u32>,
    app_down: Option<u32>,
    confirmed_up: Vec<u16>,
    confirmed_down: Vec<u16>,
}

impl Session {
    pub(super) fn new(dev_addr: DevAddr, origin: Origin, candidates: Vec<Candidate>) -> Self {
        Self {
            dev_addr,
            origin,
            verifiers: Ready::default(),
            candidates,
            frames: Kept::default(),
            forgotten_up: 0,
            counters: Counters::default(),
            deep_left: DEEP_SEARCHES,
        }
    }

    /// Gives the counter from which the first frame is judged, as a claim states it.
    pub(super) fn start_at(&mut self, up: Option<u32>, down: Option<u32>) {
        self.counters.up = up;
        self.counters.down = down;
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

    /// Returns under what the MIC of a frame holds in this session, if at all.
    ///
    /// `tx_dr` is the data rate index of an uplink where the region tells it. `deep_left` is what
    /// the node may still have searched to the end.
    pub(super) fn verify(
        &mut self,
        frame: &DataFrame,
        tx_dr: Option<u8>,
        deep_left: &mut u8,
    ) -> Option<Held> {
        self.wake();
        let mut input = MicInput::of(frame);
        let confirmed = match frame.direction() {
            Direction::Uplink => &self.counters.confirmed_down,
            Direction::Downlink => &self.counters.confirmed_up,
        };
        let conf_fcnts: Vec<u16> = confirmed.iter().rev().copied().collect();
        let every = Unseen::default();
        let tx_drs = tx_dr.map_or(every.tx_drs.clone(), |dr| dr..=dr);
        let unseen = Unseen { conf_fcnts: &conf_fcnts, tx_drs, ..every };
        let whole = |high: u16| u32::from(high) << 16 | u32::from(frame.fcnt);
        let near = self.counters.near(frame);
        let near = near.iter().map(|high| whole(*high));
        let found = self.verifiers.0.iter_mut().find_map(|verifier| {
            match verifier.check(&mut input, near.clone(), &unseen)? {
                Ok(verified) => Some(*verified.proof()),
                Err(mismatch) => mismatch.half(),
            }
        });
        if found.is_some() || self.deep_left == 0 || *deep_left == 0 {
            return found.map(Held::from);
        }
        self.deep_left -= 1;
        *deep_left -= 1;
        let found =
            self.verifiers.0.iter_mut().filter(|verifier| verifier.is_1_0()).find_map(|verifier| {
                verifier.check(&mut input, (0..=u16::MAX).map(whole), &unseen)?.ok()
            });
        found.map(|verified| Held::from(*verified.proof()))
    }

    /// Adds a frame that holds, and returns its number.
    pub(super) fn push(&mut self, data: Data, held: Held) -> usize {
        let frame = data.frame();
        let confirmed = frame.mhdr.ftype().is_confirmed();
        let counter = match (frame.direction(), self.candidates.get(held.candidate)) {
            (Direction::Uplink, _) => &mut self.counters.up,
            (Direction::Downlink, Some(Candidate { rule: Rule::V1_1, .. }))
                if frame.port().is_some_and(|port| port > 0) =>
            {
                &mut self.counters.app_down
            }
            (Direction::Downlink, _) => &mut self.counters.down,
        };
        *counter = Some(held.fcnt);
        if confirmed {
            let memory = match frame.direction() {
                Direction::Uplink => &mut self.counters.confirmed_up,
                Direction::Downlink => &mut self.counters.confirmed_down,
            };
            if memory.len() == REMEMBERED {
                memory.remove(0);
            }
            memory.push(frame.fcnt);
        }
        self.frames.push(DataSeen { data, held })
    }
}

impl Counters {
    /// Upper halves worth trying first: the one that continues, the next, and all before.
    fn near(&self, frame: &DataFrame) -> Vec<u16> {
        let last = match frame.direction() {
            Direction::Uplink => self.up,
            Direction::Downlink if frame.port().is_some_and(|port| port > 0) => {
                self.app_down.max(self.down)
            }
            Direction::Downlink => self.down,
        };
        let Some(last) = last else { return vec![0, 1] };
        let [_, _, lo, hi] = last.to_be_bytes();
        let field = u16::from_be_bytes([lo, hi]);
        let high = u16::try_from(last >> 16).unwrap_or_default();
        let goes_on = if frame.fcnt < field { high.saturating_add(1) } else { high };
        let mut out = vec![goes_on, high, high.saturating_add(1)];
        out.extend((0..high).rev().take(16));
        out.push(0);
        let mut seen = Vec::with_capacity(out.len());
        out.retain(|h| {
            let new = !seen.contains(h);
            seen.push(*h);
            new
        });
        out
    }
}
