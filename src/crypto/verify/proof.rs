//! What a check found: a proof, a frame together with its proof, or a mismatch.

use core::borrow::Borrow;

use super::SignedBy;
use crate::{
    crypto::block::{BlockFields, UplinkContext},
    frame::{DataFrame, Direction, Mic},
    id::DevAddr,
};

/// What makes the MIC of a data frame hold. Only a check makes one; it is kept next to the frame.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct Proof {
    claim: usize,
    by: SignedBy,
    fcnt: u32,
    conf_fcnt: Option<u16>,
    uplink: Option<UplinkContext>,
    of: (Direction, DevAddr, Mic),
}

impl Proof {
    pub(super) fn new(claim: usize, by: SignedBy, frame: &DataFrame, fcnt: u32) -> Self {
        let of = (frame.direction(), frame.dev_addr, frame.mic);
        Self { claim, by, fcnt, conf_fcnt: None, uplink: None, of }
    }

    pub(super) const fn conf(self, conf_fcnt: Option<u16>) -> Self {
        Self { conf_fcnt, ..self }
    }

    pub(super) const fn with(self, uplink: UplinkContext) -> Self {
        Self { uplink: Some(uplink), ..self }
    }

    pub(super) fn of_checked(self, frame: &DataFrame) -> Verified<&DataFrame> {
        Verified { frame, proof: self }
    }

    /// Returns whose keys signed the frame: as given to [`Verifier::new`](super::Verifier::new).
    pub const fn claim(&self) -> usize {
        self.claim
    }

    /// Returns which keys signed the frame, and by which rule.
    pub const fn by(&self) -> SignedBy {
        self.by
    }

    /// Returns the full 32-bit counter.
    pub const fn fcnt(&self) -> u32 {
        self.fcnt
    }

    /// Returns ConfFCnt of a 1.1 downlink that acknowledges.
    pub const fn conf_fcnt(&self) -> Option<u16> {
        self.conf_fcnt
    }

    /// Returns what B1 of a 1.1 uplink holds; none where only the forwarding half was proven.
    pub const fn uplink(&self) -> Option<UplinkContext> {
        self.uplink
    }

    /// Returns whether only bytes 2 and 3 of the MIC hold.
    pub fn is_half(&self) -> bool {
        self.by == SignedBy::ForwardingHalf
    }

    /// Puts the proof and its frame together again.
    ///
    /// # Errors
    /// The frame comes back when it is another one: its direction, DevAddr or MIC is not the proven one.
    pub fn of<F: Borrow<DataFrame>>(self, frame: F) -> Result<Verified<F>, F> {
        let is = frame.borrow();
        if self.of == (is.direction(), is.dev_addr, is.mic) {
            Ok(Verified { frame, proof: self })
        } else {
            Err(frame)
        }
    }
}

/// A data frame whose MIC was computed and found equal.
///
/// Nothing but [`Verifier::check`](super::Verifier::check) finds one; [`Proof::of`] puts one together again.
#[derive(Clone, Copy, Debug)]
pub struct Verified<F> {
    frame: F,
    proof: Proof,
}

impl<F: Borrow<DataFrame>> Verified<F> {
    /// Returns the frame.
    pub fn frame(&self) -> &DataFrame {
        self.frame.borrow()
    }

    /// Returns what makes its MIC hold.
    pub const fn proof(&self) -> &Proof {
        &self.proof
    }

    /// Takes frame and proof apart.
    pub fn into_parts(self) -> (F, Proof) {
        (self.frame, self.proof)
    }

    /// Returns what stands in the blocks of its key stream.
    pub(in crate::crypto) fn place(&self) -> BlockFields {
        let frame = self.frame();
        BlockFields {
            direction: frame.direction(),
            dev_addr: frame.dev_addr,
            fcnt: self.proof.fcnt,
        }
    }
}

/// A MIC that holds under none of the values tried.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct DataMismatch {
    /// The keys.
    pub by: SignedBy,
    /// The full 32-bit counter that `expected` was computed with: the first one tried, or the one with which
    /// the forwarding half holds.
    pub fcnt: u32,
    /// As received.
    pub received: Mic,
    /// As computed; bytes of a key that is not at hand are those received.
    pub expected: Mic,
    pub(super) half: Option<Proof>,
}

impl DataMismatch {
    /// Returns the proof of bytes 2 and 3 of a 1.1 uplink's MIC, where they hold under FNwkSIntKey.
    ///
    /// A network server that only forwards has no more (LoRaWAN 1.1, 6.1.2.3). It is as weak as two bytes:
    /// under another key one counter in 65,536 fits.
    pub const fn half(&self) -> Option<Proof> {
        self.half
    }
}
