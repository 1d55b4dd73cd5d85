//! Sessions: addresses, keys, and 32-bit counters rebuilt from 16 bits.

use super::{Kept, KeyRef, Line, Rule, Sending, Transmission};
use crate::{
    crypto::{
        Signer,
        block::{self, Place, UplinkContext},
        derive::SessionKeys,
    },
    frame::{DataFrame, Direction, Mic},
    id::DevAddr,
    key::Aes128Key,
    roster::ClaimKind,
};

/// Upper halves of a counter beyond the next one are searched to the end for this many frames of
/// a session that nothing nearer explains; after that the keys are taken to be others.
const DEEP_SEARCHES: u8 = 3;

/// Confirmed frames whose counters an ACK may mean.
const REMEMBERED: usize = 8;

/// Channels that a node can number (CN470's 96 are the most).
const CHANNELS: u8 = 96;

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
    signers: Ready,
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
}

/// Key schedules, one for each candidate, or none yet: a copy makes its own when it needs them.
#[derive(Debug, Default)]
struct Ready(Vec<Signers>);

impl Clone for Ready {
    fn clone(&self) -> Self {
        Self::default()
    }
}

#[derive(Debug)]
enum Signers {
    V1_0(Box<Signer>),
    V1_1 { forwarding: Box<Signer>, serving: Box<Signer> },
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
            signers: Ready::default(),
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
        if !self.signers.0.is_empty() {
            return;
        }
        let signer = |key: &Aes128Key| Box::new(Signer::new(key));
        let signers = self.candidates.iter().map(|candidate| match &candidate.keys {
            SessionKeys::V1_0 { nwk_s_key, .. } => Signers::V1_0(signer(nwk_s_key.key())),
            SessionKeys::V1_1 { f_nwk_s_int_key, s_nwk_s_int_key, .. } => Signers::V1_1 {
                forwarding: signer(f_nwk_s_int_key.key()),
                serving: signer(s_nwk_s_int_key.key()),
            },
        });
        self.signers = Ready(signers.collect());
    }

    /// Gives the key schedules back; they are computed again when a frame comes.
    pub(super) fn rest(&mut self) {
        self.signers = Ready::default();
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
        let mut msg = Vec::with_capacity(64);
        frame.put_signed(&mut msg);
        let check = Check { frame, msg: &msg, tx_dr, counters: &self.counters };
        let near = check.near();
        let found = self.signers.0.iter_mut().enumerate().find_map(|(candidate, signers)| {
            check.under(signers, near.iter().copied()).map(|held| Held { candidate, ..held })
        });
        if found.is_some() || self.deep_left == 0 || *deep_left == 0 {
            return found;
        }
        self.deep_left -= 1;
        *deep_left -= 1;
        self.signers.0.iter_mut().enumerate().find_map(|(candidate, signers)| {
            let Signers::V1_0(_) = signers else { return None };
            check.under(signers, 0..=u16::MAX).map(|held| Held { candidate, ..held })
        })
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

struct Check<'a> {
    frame: &'a DataFrame,
    msg: &'a [u8],
    tx_dr: Option<u8>,
    counters: &'a Counters,
}

impl Check<'_> {
    /// Upper halves worth trying first: the one that continues, the next, and all before.
    fn near(&self) -> Vec<u16> {
        let last = match self.frame.direction() {
            Direction::Uplink => self.counters.up,
            Direction::Downlink if self.frame.port().is_some_and(|port| port > 0) => {
                self.counters.app_down.max(self.counters.down)
            }
            Direction::Downlink => self.counters.down,
        };
        let Some(last) = last else { return vec![0, 1] };
        let [_, _, lo, hi] = last.to_be_bytes();
        let field = u16::from_be_bytes([lo, hi]);
        let high = u16::try_from(last >> 16).unwrap_or_default();
        let goes_on = if self.frame.fcnt < field { high.saturating_add(1) } else { high };
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

    fn place(&self, high: u16) -> Place {
        Place {
            direction: self.frame.direction(),
            dev_addr: self.frame.dev_addr,
            fcnt: u32::from(high) << 16 | u32::from(self.frame.fcnt),
        }
    }

    fn under(&self, signers: &mut Signers, highs: impl Iterator<Item = u16>) -> Option<Held> {
        let found = |place: &Place, context, half| {
            Some(Held { candidate: 0, fcnt: place.fcnt, context, half })
        };
        for high in highs {
            let place = self.place(high);
            match signers {
                Signers::V1_0(signer) => {
                    if signer.data(&place, self.msg) == self.frame.mic {
                        return found(&place, None, false);
                    }
                }
                Signers::V1_1 { serving, .. } if place.direction == Direction::Downlink => {
                    for conf in self.conf_fcnts(&self.counters.confirmed_up) {
                        let b0 = block::b0(&place, conf, self.msg.len());
                        if serving.mic(&[&b0, self.msg]) == self.frame.mic {
                            return found(&place, None, false);
                        }
                    }
                }
                Signers::V1_1 { forwarding, serving } => {
                    let Mic([s0, s1, f0, f1]) = self.frame.mic;
                    let [a, b, ..] = forwarding.data(&place, self.msg).0;
                    if [a, b] != [f0, f1] {
                        continue;
                    }
                    for context in self.contexts() {
                        let b1 = block::b1(&place, &context, self.msg.len());
                        let [a, b, ..] = serving.cmac(&[&b1, self.msg]);
                        if [a, b] == [s0, s1] {
                            return found(&place, Some(context), false);
                        }
                    }
                    return found(&place, None, true);
                }
            }
        }
        None
    }

    /// ConfFCnt counts only in a frame that acknowledges; which frame it means is searched.
    fn conf_fcnts(&self, confirmed: &[u16]) -> Vec<u16> {
        if !self.frame.fctrl.ack() {
            return vec![0];
        }
        confirmed.iter().rev().copied().chain([0]).collect()
    }

    /// TxDr, TxCh and ConfFCnt are not in the frame: all that may have been, likely ones first.
    fn contexts(&self) -> impl Iterator<Item = UplinkContext> {
        let drs: Vec<u8> = match self.tx_dr {
            Some(dr) => vec![dr],
            None => (0..16).collect(),
        };
        let confs = self.conf_fcnts(&self.counters.confirmed_down);
        confs.into_iter().flat_map(move |conf_fcnt| {
            drs.clone().into_iter().flat_map(move |tx_dr| {
                (0..CHANNELS).map(move |tx_ch| UplinkContext { conf_fcnt, tx_dr, tx_ch })
            })
        })
    }
}
