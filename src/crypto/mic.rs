//! MIC: the first four octets of a CMAC (RFC 4493), for every message and version.
//!
//! | message | key | what stands in front of the octets |
//! |---------|-----|------------------------------------|
//! | Join-Request | AppKey (1.0.x), NwkKey (1.1) | nothing |
//! | Join-Accept 1.0.x, or OptNeg 0 | AppKey, NwkKey of a 1.1 node | nothing |
//! | Join-Accept 1.1, OptNeg 1 | JSIntKey | JoinReqType, JoinEUI, DevNonce or RJcount |
//! | Rejoin-Request 0, 2 / 1 | SNwkSIntKey / JSIntKey | nothing |
//! | data 1.0.x, both ways | NwkSKey | B0 |
//! | data down 1.1 | SNwkSIntKey | B0 with ConfFCnt |
//! | data up 1.1 | SNwkSIntKey, then FNwkSIntKey | B1 for octets 0-1, B0 for octets 2-3 |

use alloc::vec::Vec;
use core::fmt;

use aes::Aes128Enc;
use cmac::{Cmac, KeyInit, Mac};

use super::{
    Block,
    block::{self, BlockFields, UplinkContext},
    encrypt_block,
};
use crate::{
    frame::{DataFrame, JoinAccept, JoinRequest, Mic, RejoinRequest},
    id::{DevNonce, JoinEui},
    key::{Aes128Key, FNwkSIntKey, JoinKey, JsIntKey, McNwkSKey, NwkSKey, SNwkSIntKey},
};

/// A key made ready for many MICs: its schedule is computed once.
pub struct Signer(Cmac<Aes128Enc>);

impl fmt::Debug for Signer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Signer(..)")
    }
}

impl Signer {
    /// Returns a signer under that key.
    pub fn new(key: &Aes128Key) -> Self {
        Self(Cmac::new(&(*key.expose()).into()))
    }

    /// Returns the CMAC of the parts, one after another: 16 octets.
    pub fn cmac(&mut self, parts: &[&[u8]]) -> Block {
        for part in parts {
            self.0.update(part);
        }
        self.0.finalize_reset().into_bytes().into()
    }

    /// Returns the first four octets of the CMAC of the parts.
    pub fn mic(&mut self, parts: &[&[u8]]) -> Mic {
        let [a, b, c, d, ..] = self.cmac(parts);
        Mic([a, b, c, d])
    }

    /// Returns the MIC of a data frame by the rule of 1.0.x: B0, then `msg` (MHDR to FRMPayload).
    pub fn data(&mut self, place: &BlockFields, msg: &[u8]) -> Mic {
        self.mic(&[&block::b0(place, 0, msg.len()), msg])
    }
}

/// Returns the CMAC of `message`: 16 octets (RFC 4493).
pub fn cmac(key: &Aes128Key, message: &[u8]) -> Block {
    Signer::new(key).cmac(&[message])
}

/// Returns L, K1 and K2 of a key, the steps inside every CMAC (RFC 4493, 2.3).
///
/// L is the encryption of a zero block; K1 and K2 are L doubled once and twice in GF(2^128). A
/// message's last block is exclusive-or'd with K1 when it is whole, with K2 once it was padded.
/// For whoever shows the working.
///
/// ```
/// use handfast::{crypto::mic, key::Aes128Key};
///
/// let key: Aes128Key = "2b7e151628aed2a6abf7158809cf4f3c".parse()?;
/// let (l, k1, k2) = mic::subkeys(&key);
/// assert_eq!(l[..4], [0x7d, 0xf7, 0x6b, 0x0c]);
/// assert_eq!(k1[..4], [0xfb, 0xee, 0xd6, 0x18]);
/// assert_eq!(k2[..4], [0xf7, 0xdd, 0xac, 0x30]);
/// # Ok::<(), handfast::key::KeyError>(())
/// ```
pub fn subkeys(key: &Aes128Key) -> (Block, Block, Block) {
    let l = encrypt_block(key, [0; 16]);
    let k1 = double(u128::from_be_bytes(l));
    (l, k1.to_be_bytes(), double(k1).to_be_bytes())
}

/// Doubles in GF(2^128), as RFC 4493, 2.3 does to make the subkeys.
pub(crate) const fn double(block: u128) -> u128 {
    (block << 1) ^ if block >> 127 == 1 { 0x87 } else { 0 }
}

/// Returns the MIC of a Join-Request.
pub fn join_request(key: &impl JoinKey, request: &JoinRequest) -> Mic {
    let mut signed = Vec::with_capacity(JoinRequest::LEN);
    request.put_signed(&mut signed);
    Signer::new(key.join_key()).mic(&[&signed])
}

/// The key that signs a Rejoin-Request, by its type.
#[derive(Clone, Copy, Debug)]
pub enum RejoinKey<'a> {
    /// Types 0 and 2: the current session's serving key.
    Session(&'a SNwkSIntKey),
    /// Type 1: the join server's key.
    JoinServer(&'a JsIntKey),
}

/// Returns the MIC of a Rejoin-Request.
pub fn rejoin_request(key: RejoinKey<'_>, request: &RejoinRequest) -> Mic {
    let mut signed = Vec::with_capacity(24);
    request.put_signed(&mut signed);
    let key = match key {
        RejoinKey::Session(key) => key.key(),
        RejoinKey::JoinServer(key) => key.key(),
    };
    Signer::new(key).mic(&[&signed])
}

/// Returns the MIC of a Join-Accept by the rule of 1.0.x, which 1.1 keeps for OptNeg 0.
pub fn join_accept_1_0(root: &impl JoinKey, accept: &JoinAccept) -> Mic {
    Signer::new(root.join_key()).mic(&[&accept.signed()])
}

/// What a Join-Accept answers; JoinReqType of the MIC's input.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub enum JoinReqType {
    /// A Join-Request: FF.
    Join,
    /// A Rejoin-Request of this type: 00, 01, 02.
    Rejoin(u8),
}

impl JoinReqType {
    /// Returns the octet.
    pub const fn octet(self) -> u8 {
        match self {
            Self::Join => 0xFF,
            Self::Rejoin(t) => t,
        }
    }
}

/// Returns the MIC of a Join-Accept with OptNeg 1 (LoRaWAN 1.1, 6.2.3).
///
/// `nonce` is DevNonce, or the RJcount of the Rejoin-Request that is answered.
pub fn join_accept_1_1(
    key: &JsIntKey,
    answers: JoinReqType,
    join_eui: JoinEui,
    nonce: DevNonce,
    accept: &JoinAccept,
) -> Mic {
    let parts: [&[u8]; 4] =
        [&[answers.octet()], &join_eui.to_wire(), &nonce.to_wire(), &accept.signed()];
    Signer::new(key.key()).mic(&parts)
}

fn msg_of(frame: &DataFrame) -> Vec<u8> {
    let mut msg = Vec::with_capacity(64);
    frame.put_signed(&mut msg);
    msg
}

fn place_of(frame: &DataFrame, fcnt: u32) -> BlockFields {
    BlockFields { direction: frame.direction(), dev_addr: frame.dev_addr, fcnt }
}

/// Returns the MIC of a data frame by the rule of 1.0.x, both ways. `fcnt` is the whole counter.
pub fn data_1_0(key: &NwkSKey, frame: &DataFrame, fcnt: u32) -> Mic {
    Signer::new(key.key()).data(&place_of(frame, fcnt), &msg_of(frame))
}

/// Returns the MIC of a multicast downlink: the rule of 1.0.x under the group's key.
pub fn multicast(key: &McNwkSKey, frame: &DataFrame, fcnt: u32) -> Mic {
    Signer::new(key.key()).data(&place_of(frame, fcnt), &msg_of(frame))
}

/// Returns the MIC of a 1.1 downlink. `conf_fcnt` counts only when the frame acknowledges.
pub fn data_down_1_1(key: &SNwkSIntKey, frame: &DataFrame, fcnt: u32, conf_fcnt: u16) -> Mic {
    let msg = msg_of(frame);
    Signer::new(key.key()).mic(&[&block::b0(&place_of(frame, fcnt), conf_fcnt, msg.len()), &msg])
}

/// Returns the MIC of a 1.1 uplink: two octets under SNwkSIntKey, two under FNwkSIntKey.
pub fn data_up_1_1(
    serving: &SNwkSIntKey,
    forwarding: &FNwkSIntKey,
    frame: &DataFrame,
    fcnt: u32,
    context: &UplinkContext,
) -> Mic {
    let [s0, s1] = serving_half(serving, frame, fcnt, context);
    let [f0, f1] = forwarding_half(forwarding, frame, fcnt);
    Mic([s0, s1, f0, f1])
}

/// Returns octets 0 and 1 of a 1.1 uplink's MIC (SNwkSIntKey over B1).
pub fn serving_half(
    key: &SNwkSIntKey,
    frame: &DataFrame,
    fcnt: u32,
    context: &UplinkContext,
) -> [u8; 2] {
    let msg = msg_of(frame);
    let b1 = block::b1(&place_of(frame, fcnt), context, msg.len());
    let [a, b, ..] = Signer::new(key.key()).cmac(&[&b1, &msg]);
    [a, b]
}

/// Returns octets 2 and 3 of a 1.1 uplink's MIC (FNwkSIntKey over B0, without ConfFCnt).
pub fn forwarding_half(key: &FNwkSIntKey, frame: &DataFrame, fcnt: u32) -> [u8; 2] {
    let msg = msg_of(frame);
    let b0 = block::b0(&place_of(frame, fcnt), 0, msg.len());
    let [a, b, ..] = Signer::new(key.key()).cmac(&[&b0, &msg]);
    [a, b]
}

/// A MIC that does not hold.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct Mismatch {
    /// As received.
    pub received: Mic,
    /// As computed.
    pub expected: Mic,
}

fn compared(received: Mic, expected: Mic) -> Result<(), Mismatch> {
    if received == expected { Ok(()) } else { Err(Mismatch { received, expected }) }
}

/// Checks a Join-Request under a root key.
///
/// # Errors
/// [`Mismatch`] when the MIC does not hold.
pub fn check_join_request(key: &impl JoinKey, request: &JoinRequest) -> Result<(), Mismatch> {
    compared(request.mic, join_request(key, request))
}

/// Checks a Rejoin-Request.
///
/// # Errors
/// [`Mismatch`] when the MIC does not hold.
pub fn check_rejoin_request(key: RejoinKey<'_>, request: &RejoinRequest) -> Result<(), Mismatch> {
    compared(request.mic, rejoin_request(key, request))
}

/// Checks a Join-Accept by the rule of 1.0.x, which 1.1 keeps for OptNeg 0.
///
/// # Errors
/// [`Mismatch`] when the MIC does not hold.
pub fn check_join_accept_1_0(root: &impl JoinKey, accept: &JoinAccept) -> Result<(), Mismatch> {
    compared(accept.mic, join_accept_1_0(root, accept))
}

/// Checks a Join-Accept with OptNeg 1; `nonce` is DevNonce, or the RJcount that it answers.
///
/// # Errors
/// [`Mismatch`] when the MIC does not hold.
pub fn check_join_accept_1_1(
    key: &JsIntKey,
    answers: JoinReqType,
    join_eui: JoinEui,
    nonce: DevNonce,
    accept: &JoinAccept,
) -> Result<(), Mismatch> {
    compared(accept.mic, join_accept_1_1(key, answers, join_eui, nonce, accept))
}
