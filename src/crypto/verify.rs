//! Verification of data frames: a MIC is computed and compared, and what holds becomes [`Verified`].
//!
//! A frame does not carry all that its MIC covers: the upper half of its counter is missing, and in 1.1
//! ConfFCnt, TxDr and TxCh are. [`Verifier::check`] takes the values that may have been, and says with
//! which of them the MIC holds. Decryption ([`cipher`](super::cipher)) takes a [`Verified`] and nothing
//! less.
//!
//! | keys | sign |
//! |------|------|
//! | NwkSKey | data of 1.0.x, both ways |
//! | FNwkSIntKey by the rule of 1.0.x | data of a 1.1 node on a 1.0.x server, both ways |
//! | McNwkSKey | downlinks of a multicast group |
//! | SNwkSIntKey | downlinks of 1.1 |
//! | SNwkSIntKey and FNwkSIntKey | uplinks of 1.1, bytes 0-1 and 2-3 of the MIC |

mod proof;

use alloc::{boxed::Box, vec::Vec};
use core::ops::RangeInclusive;

pub use proof::{DataMismatch, Proof, Verified};

use super::{
    Block,
    block::{self, BlockFields, UplinkContext},
    derive::SessionKeys,
    mic::Signer,
    scheme::Scheme,
};
use crate::{
    frame::{DataFrame, Direction, Mic},
    key::{FNwkSIntKey, McNwkSKey, NwkSKey, SNwkSIntKey},
};

/// The highest channel that a node numbers: CN470 has 96 (RP002).
pub const LAST_CHANNEL: u8 = 95;

/// The highest data rate index: four bits.
pub const LAST_DATA_RATE: u8 = 15;

/// The keys that may sign data, and their rule.
#[derive(Clone, Copy, Debug)]
#[non_exhaustive]
pub enum IntegrityKeys<'k> {
    /// LoRaWAN 1.0.x.
    V1_0(&'k NwkSKey),
    /// A 1.1 node on a 1.0.x server: FNwkSIntKey is its NwkSKey.
    V1_1OnV1_0(&'k FNwkSIntKey),
    /// A multicast group.
    Multicast(&'k McNwkSKey),
    /// LoRaWAN 1.1: without the first no uplink can be checked, without the second no downlink.
    V1_1 {
        /// FNwkSIntKey.
        forwarding: Option<&'k FNwkSIntKey>,
        /// SNwkSIntKey.
        serving: Option<&'k SNwkSIntKey>,
    },
}

impl<'k> From<&'k SessionKeys> for IntegrityKeys<'k> {
    fn from(keys: &'k SessionKeys) -> Self {
        match keys {
            SessionKeys::V1_0 { nwk_s_key, .. } => Self::V1_0(nwk_s_key),
            SessionKeys::V1_1 { f_nwk_s_int_key, s_nwk_s_int_key, .. } => {
                Self::V1_1 { forwarding: Some(f_nwk_s_int_key), serving: Some(s_nwk_s_int_key) }
            }
        }
    }
}

/// Which keys signed a data frame, and by which rule.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
#[non_exhaustive]
pub enum SignedBy {
    /// NwkSKey, by the rule of 1.0.x.
    NwkSKey,
    /// FNwkSIntKey, by the rule of 1.0.x.
    FNwkSIntKeyAsNwkSKey,
    /// McNwkSKey, by the rule of 1.0.x.
    McNwkSKey,
    /// SNwkSIntKey, by the rule of 1.1: a downlink.
    SNwkSIntKey,
    /// SNwkSIntKey and FNwkSIntKey, by the rule of 1.1: an uplink.
    BothIntegrityKeys,
    /// FNwkSIntKey, by the rule of 1.1: bytes 2 and 3 of an uplink's MIC. The others were not proven.
    ForwardingHalf,
}

impl SignedBy {
    /// Returns the key's name; two names with `+` between them where two keys sign.
    pub const fn name(self) -> &'static str {
        match self {
            Self::NwkSKey => NwkSKey::NAME,
            Self::FNwkSIntKeyAsNwkSKey | Self::ForwardingHalf => FNwkSIntKey::NAME,
            Self::McNwkSKey => McNwkSKey::NAME,
            Self::SNwkSIntKey => SNwkSIntKey::NAME,
            Self::BothIntegrityKeys => "SNwkSIntKey+FNwkSIntKey",
        }
    }

    /// Returns how data of such a session is signed and encrypted.
    pub const fn scheme(self) -> Scheme {
        match self {
            Self::NwkSKey => Scheme::V1_0,
            Self::FNwkSIntKeyAsNwkSKey => Scheme::V1_1OnV1_0,
            Self::McNwkSKey => Scheme::Multicast,
            Self::SNwkSIntKey | Self::BothIntegrityKeys | Self::ForwardingHalf => Scheme::V1_1,
        }
    }
}

/// What the MIC of 1.1 covers and the frame does not carry: the values that may have been.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct Unseen<'a> {
    /// ConfFCnt, the likeliest first: low halves of the counters of confirmed frames that went the other
    /// way. They count only in a frame with ACK, where 0 is tried after them; without ACK it is 0.
    pub conf_fcnts: &'a [u16],
    /// TxDr.
    pub tx_drs: RangeInclusive<u8>,
    /// TxCh, as the node numbers its channels.
    pub tx_chs: RangeInclusive<u8>,
}

impl Default for Unseen<'_> {
    /// Every data rate and channel, and no confirmed frame.
    fn default() -> Self {
        Self { conf_fcnts: &[], tx_drs: 0..=LAST_DATA_RATE, tx_chs: 0..=LAST_CHANNEL }
    }
}

impl Unseen<'_> {
    /// Returns ConfFCnt as a frame may have it.
    fn conf_fcnts(&self, frame: &DataFrame) -> impl Iterator<Item = u16> {
        let given = if frame.fctrl.ack() { self.conf_fcnts } else { &[] };
        // Senders that leave ConfFCnt out are on record: their MIC holds with 0, and the proof says so.
        let zero = (!given.contains(&0)).then_some(0);
        given.iter().copied().chain(zero)
    }

    /// Returns everything that B1 of an uplink may hold, in the order in which it is tried.
    pub fn contexts(&self, frame: &DataFrame) -> impl Iterator<Item = UplinkContext> {
        self.conf_fcnts(frame).flat_map(move |conf_fcnt| {
            self.tx_drs.clone().flat_map(move |tx_dr| {
                let chs = self.tx_chs.clone();
                chs.map(move |tx_ch| UplinkContext { conf_fcnt, tx_dr, tx_ch })
            })
        })
    }
}

/// A data frame laid out as its MIC covers it: room for B0 or B1, then MHDR to FRMPayload.
///
/// Made once a frame, however many keys and counters are tried on it.
#[derive(Clone, Debug)]
pub struct MicInput<'f> {
    frame: &'f DataFrame,
    octets: Vec<u8>,
}

impl<'f> MicInput<'f> {
    /// Lays a frame out.
    pub fn of(frame: &'f DataFrame) -> Self {
        let mut octets = Vec::with_capacity(16 + 64);
        octets.extend([0; 16]);
        frame.put_signed(&mut octets);
        Self { frame, octets }
    }

    /// Returns the bytes with that block in front.
    fn after(&mut self, block: Block) -> &[u8] {
        if let Some(first) = self.octets.first_chunk_mut() {
            *first = block;
        }
        &self.octets
    }

    fn len(&self) -> usize {
        self.octets.len() - 16
    }

    fn place(&self, fcnt: u32) -> BlockFields {
        BlockFields { direction: self.frame.direction(), dev_addr: self.frame.dev_addr, fcnt }
    }
}

/// Integrity keys made ready for many frames.
#[derive(Debug)]
pub struct Verifier {
    claim: usize,
    signers: Signers,
}

#[derive(Debug)]
enum Signers {
    V1_0 { by: SignedBy, signer: Box<Signer> },
    V1_1 { forwarding: Option<Box<Signer>>, serving: Option<Box<Signer>> },
}

impl Verifier {
    /// Makes keys ready. `claim` says whose keys they are, and comes back in every proof.
    pub fn new(claim: usize, keys: IntegrityKeys<'_>) -> Self {
        let ready = |key| Box::new(Signer::new(key));
        let signers = match keys {
            IntegrityKeys::V1_0(key) => {
                Signers::V1_0 { by: SignedBy::NwkSKey, signer: ready(key.key()) }
            }
            IntegrityKeys::V1_1OnV1_0(key) => {
                Signers::V1_0 { by: SignedBy::FNwkSIntKeyAsNwkSKey, signer: ready(key.key()) }
            }
            IntegrityKeys::Multicast(key) => {
                Signers::V1_0 { by: SignedBy::McNwkSKey, signer: ready(key.key()) }
            }
            IntegrityKeys::V1_1 { forwarding, serving } => Signers::V1_1 {
                forwarding: forwarding.map(|key| ready(key.key())),
                serving: serving.map(|key| ready(key.key())),
            },
        };
        Self { claim, signers }
    }

    /// Returns whether the rule of 1.0.x is followed: one key, and nothing unseen but the counter.
    pub const fn is_1_0(&self) -> bool {
        matches!(self.signers, Signers::V1_0 { .. })
    }

    /// Checks a frame with each of these full counters, the likeliest first.
    ///
    /// `None` where these keys sign nothing that goes this way: uplinks without FNwkSIntKey, downlinks
    /// without SNwkSIntKey, uplinks of a multicast group.
    ///
    /// ```
    /// use handfast::{
    ///     crypto::{IntegrityKeys, MicInput, Unseen, Verifier},
    ///     frame::{Frame, decode},
    /// };
    ///
    /// # let mut frame = handfast::frame::DataFrame::new(
    /// #     handfast::frame::FType::UnconfirmedDataUp, "0201bbda".parse()?, 7);
    /// # let key = "2b7e151628aed2a6abf7158809cf4f3c".parse()?;
    /// # frame.mic = handfast::crypto::mic::data_1_0(&key, &frame, 0x0001_0007);
    /// # let octets = Frame::Data(frame).build();
    /// let Some(Frame::Data(frame)) = decode(&octets).frame else { panic!("a data frame") };
    /// let mut verifier = Verifier::new(0, IntegrityKeys::V1_0(&key));
    /// let upper_halves = (0..16).map(|high| high << 16 | u32::from(frame.fcnt));
    ///
    /// let checked = verifier.check(&mut MicInput::of(&frame), upper_halves, &Unseen::default());
    /// let verified = checked.expect("NwkSKey signs both ways").expect("the MIC holds");
    /// assert_eq!(verified.proof().fcnt(), 0x0001_0007);
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn check<'f>(
        &mut self,
        input: &mut MicInput<'f>,
        counters: impl IntoIterator<Item = u32>,
        unseen: &Unseen<'_>,
    ) -> Option<Result<Verified<&'f DataFrame>, DataMismatch>> {
        let up = input.frame.direction() == Direction::Uplink;
        let claim = self.claim;
        match &mut self.signers {
            Signers::V1_0 { by: SignedBy::McNwkSKey, .. } if up => None,
            Signers::V1_0 { by, signer } => Some(whole(claim, *by, signer, input, counters, &[0])),
            Signers::V1_1 { serving, .. } if !up => {
                let (serving, by) = (serving.as_mut()?, SignedBy::SNwkSIntKey);
                let confs: Vec<_> = unseen.conf_fcnts(input.frame).collect();
                Some(whole(claim, by, serving, input, counters, &confs))
            }
            Signers::V1_1 { forwarding, serving } => {
                let forwarding = forwarding.as_mut()?;
                Some(halves(claim, forwarding, serving.as_deref_mut(), input, counters, unseen))
            }
        }
    }

    /// Returns everything unseen with which bytes 0 and 1 of a 1.1 uplink's MIC hold, in the order in
    /// which it is tried. A search over many values finds some by accident: one in 65,536.
    pub fn contexts<'a>(
        &'a mut self,
        input: &'a mut MicInput<'_>,
        fcnt: u32,
        unseen: &'a Unseen<'_>,
    ) -> impl Iterator<Item = UplinkContext> {
        let serving = match &mut self.signers {
            Signers::V1_1 { serving, .. } => serving.as_deref_mut(),
            Signers::V1_0 { .. } => None,
        };
        serving.map(|serving| serving_contexts(serving, input, fcnt, unseen)).into_iter().flatten()
    }
}

/// A MIC of one key: B0 with each counter and each ConfFCnt.
fn whole<'f>(
    claim: usize,
    by: SignedBy,
    signer: &mut Signer,
    input: &mut MicInput<'f>,
    counters: impl IntoIterator<Item = u32>,
    confs: &[u16],
) -> Result<Verified<&'f DataFrame>, DataMismatch> {
    let frame = input.frame;
    let mut first = None;
    for fcnt in counters {
        for &conf_fcnt in confs {
            let computed = b0_mic(signer, input, fcnt, conf_fcnt);
            if computed == frame.mic {
                let conf_fcnt =
                    (by == SignedBy::SNwkSIntKey && frame.fctrl.ack()).then_some(conf_fcnt);
                return Ok(Proof::new(claim, by, frame, fcnt).conf(conf_fcnt).of_checked(frame));
            }
            first.get_or_insert((fcnt, computed));
        }
    }
    let (fcnt, expected) = first.unwrap_or_else(|| {
        let fcnt = u32::from(frame.fcnt);
        (fcnt, b0_mic(signer, input, fcnt, 0))
    });
    Err(DataMismatch { by, fcnt, received: frame.mic, expected, half: None })
}

/// A MIC of two keys: bytes 2 and 3 find the counter, bytes 0 and 1 what else is unseen.
fn halves<'f>(
    claim: usize,
    forwarding: &mut Signer,
    mut serving: Option<&mut Signer>,
    input: &mut MicInput<'f>,
    counters: impl IntoIterator<Item = u32>,
    unseen: &Unseen<'_>,
) -> Result<Verified<&'f DataFrame>, DataMismatch> {
    let frame = input.frame;
    let Mic([s0, s1, f0, f1]) = frame.mic;
    let (mut first, mut half) = (None, None);
    for fcnt in counters {
        let Mic([a, b, ..]) = b0_mic(forwarding, input, fcnt, 0);
        first.get_or_insert((fcnt, [a, b]));
        if [a, b] != [f0, f1] {
            continue;
        }
        half.get_or_insert(fcnt);
        let Some(serving) = serving.as_deref_mut() else { break };
        if let Some(uplink) = serving_contexts(serving, input, fcnt, unseen).next() {
            let proof = Proof::new(claim, SignedBy::BothIntegrityKeys, frame, fcnt);
            return Ok(proof.with(uplink).of_checked(frame));
        }
    }
    let (fcnt, [a, b]) = match (half, first) {
        (Some(fcnt), _) => (fcnt, [f0, f1]),
        (None, Some(first)) => first,
        (None, None) => {
            let fcnt = u32::from(frame.fcnt);
            let Mic([a, b, ..]) = b0_mic(forwarding, input, fcnt, 0);
            (fcnt, [a, b])
        }
    };
    let (by, [s0, s1]) = match serving {
        Some(serving) => {
            let context = unseen.contexts(frame).next().unwrap_or_default();
            (SignedBy::BothIntegrityKeys, b1_half(serving, input, fcnt, context))
        }
        // The half that nobody here can compute stays as received.
        None => (SignedBy::ForwardingHalf, [s0, s1]),
    };
    let expected = Mic([s0, s1, a, b]);
    let half = half.map(|fcnt| Proof::new(claim, SignedBy::ForwardingHalf, frame, fcnt));
    Err(DataMismatch { by, fcnt, received: frame.mic, expected, half })
}

fn b0_mic(signer: &mut Signer, input: &mut MicInput<'_>, fcnt: u32, conf_fcnt: u16) -> Mic {
    let b0 = block::b0(&input.place(fcnt), conf_fcnt, input.len());
    signer.mic(&[input.after(b0)])
}

fn b1_half(
    serving: &mut Signer,
    input: &mut MicInput<'_>,
    fcnt: u32,
    context: UplinkContext,
) -> [u8; 2] {
    let b1 = block::b1(&input.place(fcnt), &context, input.len());
    let Mic([a, b, ..]) = serving.mic(&[input.after(b1)]);
    [a, b]
}

fn serving_contexts<'a>(
    serving: &'a mut Signer,
    input: &'a mut MicInput<'_>,
    fcnt: u32,
    unseen: &'a Unseen<'_>,
) -> impl Iterator<Item = UplinkContext> {
    let Mic([s0, s1, ..]) = input.frame.mic;
    let contexts = unseen.contexts(input.frame);
    contexts.filter(move |context| b1_half(serving, input, fcnt, *context) == [s0, s1])
}

#[cfg(test)]
mod tests;
