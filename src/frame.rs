//! Frames: what a PHYPayload says, octet by octet, and back again.
//!
//! [`decode`] splits octets into fields and keeps where each stood; [`Frame::build`] joins them
//! again, so that `decode(x).frame.build() == x` for every frame that decodes. What the standard
//! forbids is a [`Fault`], never an error; octets that run out are a [`DecodeError`], which comes
//! with all that was read before it.
//!
//! | first octet | message |
//! |-------------|---------|
//! | MHDR 1 | MACPayload, Join-Request, Join-Accept or Rejoin-Request by FType; MIC 4 |
//!
//! This room knows nothing of keys, captures or screens: payloads stay encrypted here.

mod data;
mod fault;
mod field;
mod input;
mod join;
mod join_accept;
mod mhdr;

use alloc::{string::String, vec::Vec};
use core::fmt;

use nom::{Check, Complete, Emit, OutputM, OutputMode, Parser};

use data::data_frame;
use input::{Input, Log, Processed, Reads, field, parse, rest};
use join::{join_request, rejoin_request};
use join_accept::sealed_join_accept;

pub use data::{DataFrame, FCtrl, FOpts, Payload};
pub use fault::{Fault, FaultKind};
pub use field::{DecodeError, Field, Fields, FieldsIter, LenFrom, Located};
pub use join::{JoinRequest, RejoinBody, RejoinRequest};
pub use join_accept::{
    CfList, CfListType, DlSettings, JoinAccept, OpenedJoinAccept, RxDelay, SealedJoinAccept,
};
pub use mhdr::{FType, Mhdr};

/// MIC: the first four octets of a CMAC, in CMAC order on the wire and in print.
#[derive(Clone, Copy, Debug, Default, Eq, Hash, PartialEq)]
pub struct Mic(pub [u8; 4]);

impl Mic {
    /// Octets of a MIC.
    pub const LEN: usize = 4;

    /// Returns eight lower-case digits, in the order sent.
    pub fn hex(self) -> String {
        hex::encode(self.0)
    }
}

impl fmt::Display for Mic {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (i, octet) in self.0.iter().enumerate() {
            write!(f, "{}{octet:02X}", if i == 0 { "" } else { " " })?;
        }
        Ok(())
    }
}

/// A frame of any type.
#[derive(Clone, Debug, Eq, PartialEq)]
pub enum Frame {
    /// Join-Request.
    JoinRequest(JoinRequest),
    /// Join-Accept, encrypted as sent.
    JoinAccept(SealedJoinAccept),
    /// Rejoin-Request.
    RejoinRequest(RejoinRequest),
    /// Data, up or down.
    Data(DataFrame),
    /// Proprietary.
    Proprietary(Proprietary),
}

/// A proprietary frame: the standard defines its FType and nothing else, not even a MIC.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct Proprietary {
    /// MHDR.
    pub mhdr: Mhdr,
    /// All that follows.
    pub payload: Vec<u8>,
}

/// All that could be read of some octets.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct Decoded {
    /// The octets themselves.
    pub octets: Vec<u8>,
    /// The frame, when nothing was missing.
    pub frame: Option<Frame>,
    /// Why reading stopped before the end.
    pub stopped: Option<DecodeError>,
    /// What the standard forbids.
    pub faults: Vec<Fault>,
}

impl Decoded {
    /// Returns the MHDR, if there is an octet at all.
    pub fn mhdr(&self) -> Option<Mhdr> {
        self.octets.first().map(|&octet| Mhdr(octet))
    }

    /// Returns every field that could be read, in order, and where it is; of a damaged frame those
    /// before the damage.
    ///
    /// They are not kept: what follows a capture has no use for them.
    pub fn fields(&self) -> Fields {
        fields(&self.octets)
    }

    /// Returns the octets of a field, if it was read.
    pub fn octets_of(&self, field: Field) -> Option<&[u8]> {
        self.octets.get(self.fields().place_of(field)?)
    }
}

/// Splits a PHYPayload into its fields. Never fails: what could not be read is in `stopped`.
///
/// ```
/// use handfast::frame::{Field, Frame, decode};
///
/// let octets = [0x40, 0xda, 0xbb, 0x01, 0x02, 0x80, 0x02, 0x00, 0x02, 0x27, 0x21, 0x02, 0x9d,
///     0xae, 0xaf, 0x9e, 0xe9];
/// let decoded = decode(&octets);
/// let Some(Frame::Data(data)) = &decoded.frame else { panic!("a data frame") };
/// assert_eq!(data.dev_addr.to_string(), "0201BBDA");
/// assert_eq!(decoded.fields().place_of(Field::FCnt), Some(6..8));
///
/// let cut = decode(&octets[..7]);
/// assert_eq!(
///     cut.stopped.unwrap().to_string(),
///     "FCnt at byte 6: 2 bytes needed (by the layout of the message), 1 left"
/// );
/// ```
pub fn decode(octets: &[u8]) -> Decoded {
    Decoded::from(octets.to_vec())
}

impl From<Vec<u8>> for Decoded {
    /// As [`decode`], of octets that need not be copied.
    fn from(octets: Vec<u8>) -> Self {
        match parse(PhyPayload, Input::new(&octets)) {
            Ok(frame) => {
                let faults = fault::faults(&octets, &frame);
                Self { octets, frame: Some(frame), stopped: None, faults }
            }
            Err(stopped) => {
                Self { octets, frame: None, stopped: Some(stopped), faults: Vec::new() }
            }
        }
    }
}

/// Reads for the log alone: in this mode of nom no value is made.
fn fields(octets: &[u8]) -> Fields {
    let mut fields = Fields::default();
    let log = Log::new(&mut fields);
    // Why it stops is no question here: what was read until then is in the log.
    let _ = PhyPayload.process::<OutputM<Check, Check, Complete>>(Input::logged(octets, &log));
    fields
}

/// MHDR 1 | what its FType says.
struct PhyPayload;

impl<'a> Parser<Input<'a>> for PhyPayload {
    type Output = Frame;
    type Error = DecodeError;

    #[inline]
    fn process<OM: OutputMode>(&mut self, input: Input<'a>) -> Processed<'a, OM, Frame> {
        let mut mhdr = field(Field::Mhdr, |[octet]| Mhdr(octet));
        let (input, mhdr) = mhdr.process::<OutputM<Emit, OM::Error, OM::Incomplete>>(input)?;
        match mhdr.ftype() {
            FType::JoinRequest => join_request(mhdr).map(Frame::JoinRequest).process::<OM>(input),
            FType::JoinAccept => {
                sealed_join_accept(mhdr).map(Frame::JoinAccept).process::<OM>(input)
            }
            FType::RejoinRequest => {
                rejoin_request(mhdr).map(Frame::RejoinRequest).process::<OM>(input)
            }
            FType::UnconfirmedDataUp
            | FType::UnconfirmedDataDown
            | FType::ConfirmedDataUp
            | FType::ConfirmedDataDown => data_frame(mhdr).map(Frame::Data).process::<OM>(input),
            FType::Proprietary => proprietary(mhdr).map(Frame::Proprietary).process::<OM>(input),
        }
    }
}

/// Whatever there is.
fn proprietary<'a>(mhdr: Mhdr) -> impl Reads<'a, Proprietary> {
    rest(Field::Proprietary).map(move |payload| Proprietary { mhdr, payload: payload.to_vec() })
}

impl Frame {
    /// Returns the MHDR.
    pub const fn mhdr(&self) -> Mhdr {
        match self {
            Self::JoinRequest(f) => f.mhdr,
            Self::JoinAccept(f) => f.mhdr,
            Self::RejoinRequest(f) => f.mhdr,
            Self::Data(f) => f.mhdr,
            Self::Proprietary(f) => f.mhdr,
        }
    }

    /// Returns the MIC as received; a Join-Accept hides it, a proprietary frame need not have one.
    pub const fn mic(&self) -> Option<Mic> {
        match self {
            Self::JoinRequest(f) => Some(f.mic),
            Self::RejoinRequest(f) => Some(f.mic),
            Self::Data(f) => Some(f.mic),
            Self::JoinAccept(_) | Self::Proprietary(_) => None,
        }
    }

    /// Returns the octets before MIC, as the MIC covers them; all octets where MIC is hidden.
    pub fn signed(&self) -> Vec<u8> {
        let mut out = Vec::with_capacity(64);
        match self {
            Self::JoinRequest(f) => f.put_signed(&mut out),
            Self::RejoinRequest(f) => f.put_signed(&mut out),
            Self::Data(f) => f.put_signed(&mut out),
            Self::JoinAccept(f) => {
                out.push(f.mhdr.0);
                out.extend(&f.sealed);
            }
            Self::Proprietary(f) => {
                out.push(f.mhdr.0);
                out.extend(&f.payload);
            }
        }
        out
    }

    /// Returns the PHYPayload: the octets as sent.
    pub fn build(&self) -> Vec<u8> {
        let mut out = self.signed();
        out.extend(self.mic().iter().flat_map(|mic| mic.0));
        out
    }
}

pub mod beacon;
pub mod command;

/// Which way a frame travels.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub enum Direction {
    /// From the node to the network; Dir is 0 in the crypto blocks.
    Uplink,
    /// From the network to the node; Dir is 1.
    Downlink,
}

impl Direction {
    /// Returns `up` or `down`, as JSON prints it.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Uplink => "up",
            Self::Downlink => "down",
        }
    }

    /// Returns the octet Dir of the crypto blocks.
    pub const fn octet(self) -> u8 {
        match self {
            Self::Uplink => 0,
            Self::Downlink => 1,
        }
    }
}

/// The LoRaWAN link layer version that a claim states. Nothing in a Join-Request names it.
#[derive(Clone, Copy, Debug, Eq, Hash, Ord, PartialEq, PartialOrd)]
#[non_exhaustive]
pub enum MacVersion {
    /// LoRaWAN 1.0.0.
    V1_0_0,
    /// LoRaWAN 1.0.1.
    V1_0_1,
    /// LoRaWAN 1.0.2.
    V1_0_2,
    /// LoRaWAN 1.0.3.
    V1_0_3,
    /// LoRaWAN 1.0.4 (TS001-1.0.4).
    V1_0_4,
    /// LoRaWAN 1.1.
    V1_1,
}

impl MacVersion {
    /// Every version, oldest first.
    pub const ALL: [Self; 6] =
        [Self::V1_0_0, Self::V1_0_1, Self::V1_0_2, Self::V1_0_3, Self::V1_0_4, Self::V1_1];

    /// Returns the version as people write it: `1.0.4`, `1.1`.
    pub const fn name(self) -> &'static str {
        match self {
            Self::V1_0_0 => "1.0.0",
            Self::V1_0_1 => "1.0.1",
            Self::V1_0_2 => "1.0.2",
            Self::V1_0_3 => "1.0.3",
            Self::V1_0_4 => "1.0.4",
            Self::V1_1 => "1.1",
        }
    }

    /// Returns the version of that name; `1.1.0` is 1.1.
    pub fn by_name(name: &str) -> Option<Self> {
        if name == "1.1.0" {
            return Some(Self::V1_1);
        }
        Self::ALL.into_iter().find(|v| v.name() == name)
    }

    /// Returns whether DevNonce counts up (1.0.4 and 1.1) instead of being random.
    pub fn counts_dev_nonces(self) -> bool {
        self >= Self::V1_0_4
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn decoded(text: &str) -> Decoded {
        decode(&hex::decode(text).unwrap())
    }

    fn faults(text: &str) -> Vec<(Field, FaultKind)> {
        decoded(text).faults.into_iter().map(|f| (f.field, f.kind)).collect()
    }

    #[test]
    fn a_join_request_is_23_octets() {
        let whole = decoded("0001000bfeff0000023c2b1afeff00000202012e269cf5");
        let Some(Frame::JoinRequest(request)) = whole.frame else { panic!() };
        assert_eq!(request.dev_eui.hex(), "020000fffe1a2b3c");
        assert_eq!(request.join_eui.hex(), "020000fffe0b0001");
        assert_eq!(request.dev_nonce.0, 0x0102);
        assert!(whole.faults.is_empty());
        let long = "0001000bfeff0000023c2b1afeff0000020201aa2e269cf5";
        assert_eq!(faults(long), [(Field::Surplus, FaultKind::Length { found: 24, lawful: "23" })]);
        assert_eq!(hex::encode(decoded(long).frame.unwrap().build()), long);
    }

    #[test]
    fn a_cut_frame_keeps_what_came_before() {
        let cut = decoded("0001000bfeff0000023c2b1afe");
        assert_eq!(cut.fields().len(), 2);
        assert_eq!(
            cut.stopped.unwrap().to_string(),
            "DevEUI at byte 9: 8 bytes needed (by the layout of the message), 4 left"
        );
    }

    #[test]
    fn options_that_run_into_the_mic_say_so() {
        let bad = decoded("40040302010700000102031122334455");
        assert_eq!(
            bad.stopped.unwrap().to_string(),
            "FOpts at byte 8: 7 bytes needed (FOptsLen is 7), 4 left"
        );
    }

    #[test]
    fn what_the_standard_forbids_is_a_fault_and_no_error() {
        assert_eq!(
            faults("40bb88060282000003070060 49a0ff65".replace(' ', "").as_str()),
            [(Field::FOpts, FaultKind::FOptsWithPort0)]
        );
        assert_eq!(
            faults("5cbb88060280000001aa49a0ff65"),
            [(Field::Mhdr, FaultKind::RfuBits(0x1C))]
        );
        assert_eq!(faults("41bb88060280000001aa49a0ff65"), [(Field::Mhdr, FaultKind::Major(1))]);
        assert_eq!(
            faults("60bb880602c0000001aa49a0ff65"),
            [(Field::FCtrl, FaultKind::RfuBits(0x40))]
        );
        assert_eq!(
            faults("40bb88060280000000 49a0ff65".replace(' ', "").as_str()),
            [(Field::FPort, FaultKind::EmptyPort0)]
        );
        assert_eq!(
            faults("40bb880602800000e3aa49a0ff65"),
            [(Field::FPort, FaultKind::ReservedPort(227))]
        );
        assert_eq!(
            faults("c0030000010000000000000000000000000000"),
            [(Field::RejoinType, FaultKind::RejoinType(3))]
        );
        assert!(faults("e0010203").is_empty());
    }

    #[test]
    fn nothing_at_all_stops_at_mhdr() {
        let empty = decode(&[]);
        assert_eq!(empty.stopped.unwrap().field(), Field::Mhdr);
        assert!(empty.fields().is_empty() && empty.frame.is_none());
    }
}
