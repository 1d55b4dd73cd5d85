//! Faults: octets that split well but say what the standard forbids.

use alloc::vec::Vec;
use core::{fmt, ops::Range};

use super::{DataFrame, Direction, Field, Frame, JoinRequest, Mhdr, RejoinBody, fields};

/// Octets of the largest LoRa frame: the length in the PHY header is one octet.
const MAX_PHY_PAYLOAD: usize = 255;

/// Octets of the largest MACPayload that any data rate of RP002 allows.
const MAX_MAC_PAYLOAD: usize = 250;

/// One thing that the standard forbids, and where it stands.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct Fault {
    /// Octets from the start of the PHYPayload.
    pub at: Range<usize>,
    /// The field at fault.
    pub field: Field,
    /// What is wrong with it.
    pub kind: FaultKind,
}

/// What the standard forbids.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
#[non_exhaustive]
pub enum FaultKind {
    /// RFU bits that are set; the value holds those bits.
    RfuBits(u8),
    /// A Major other than 0.
    Major(u8),
    /// Another length than the message has.
    Length {
        /// Octets of the whole frame.
        found: usize,
        /// Octets that it may have.
        lawful: &'static str,
    },
    /// FOpts and FPort 0 in one frame.
    FOptsWithPort0,
    /// FPort 0 without a payload: no rule forbids it, and nobody gains by it.
    EmptyPort0,
    /// FPort 227 to 255.
    ReservedPort(u8),
    /// A reserved type of Rejoin-Request.
    RejoinType(u8),
    /// A reserved type of CFList.
    CfListType(u8),
    /// More octets than any data rate carries.
    TooLong {
        /// Octets found.
        found: usize,
        /// The most there can be.
        most: usize,
    },
}

impl fmt::Display for FaultKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::RfuBits(bits) => write!(f, "RFU bits set: {bits:#04x}; receivers ignore them"),
            Self::Major(v) => write!(f, "Major is {v}; only 0 (LoRaWAN R1) is defined"),
            Self::Length { found, lawful } => {
                write!(f, "the frame has {found} bytes, this message has {lawful}")
            }
            Self::FOptsWithPort0 => f.write_str(
                "MAC commands in FOpts and on FPort 0 in one frame: \
                 forbidden, the receiver drops the frame",
            ),
            Self::EmptyPort0 => f.write_str("FPort 0 announces MAC commands and none follow"),
            Self::ReservedPort(port) => write!(f, "FPort {port} is reserved (227 to 255)"),
            Self::RejoinType(t) => write!(f, "Rejoin-Request type {t} is reserved"),
            Self::CfListType(t) => write!(f, "CFListType {t} is reserved"),
            Self::TooLong { found, most } => write!(f, "{found} bytes, {most} at the most"),
        }
    }
}

impl Fault {
    pub(super) const fn new(at: Range<usize>, field: Field, kind: FaultKind) -> Self {
        Self { at, field, kind }
    }
}

/// Returns all faults of a frame, in the order of its octets.
pub(super) fn faults(octets: &[u8], frame: &Frame) -> Vec<Fault> {
    let n = octets.len();
    // Few frames have a fault: only then it matters where the fields are.
    let mut located = None;
    let mut place =
        |field| located.get_or_insert_with(|| fields(octets)).place_of(field).unwrap_or(0..n);
    let mut out = Vec::new();
    let mut add = |field, kind| out.push(Fault::new(place(field), field, kind));
    let mhdr = frame.mhdr();
    mhdr_faults(mhdr, &mut add);
    match frame {
        Frame::JoinRequest(_) if n != JoinRequest::LEN => {
            add(Field::Surplus, FaultKind::Length { found: n, lawful: "23" });
        }
        Frame::JoinAccept(accept) if !accept.is_whole() => {
            add(Field::Sealed, FaultKind::Length { found: n, lawful: "17 or 33" });
        }
        Frame::RejoinRequest(rejoin) => match rejoin.body {
            RejoinBody::Rfu(t) => add(Field::RejoinType, FaultKind::RejoinType(t)),
            _ if rejoin.surplus.is_empty() => {}
            RejoinBody::JoinServer { .. } => {
                add(Field::Surplus, FaultKind::Length { found: n, lawful: "24" });
            }
            RejoinBody::Network { .. } => {
                add(Field::Surplus, FaultKind::Length { found: n, lawful: "19" });
            }
        },
        Frame::Data(data) => data_faults(data, n, &mut add),
        Frame::JoinRequest(_) | Frame::JoinAccept(_) | Frame::Proprietary(_) => {}
    }
    if n > MAX_PHY_PAYLOAD {
        let kind = FaultKind::TooLong { found: n, most: MAX_PHY_PAYLOAD };
        out.push(Fault::new(
            MAX_PHY_PAYLOAD..n,
            fields(octets).iter().last().map_or(Field::Mhdr, |f| f.value),
            kind,
        ));
    }
    out
}

fn mhdr_faults(mhdr: Mhdr, add: &mut impl FnMut(Field, FaultKind)) {
    if mhdr.ftype() == super::FType::Proprietary {
        // Only FType and Major are ours to judge: proprietary schemes use the RFU bits.
        if mhdr.major() != 0 {
            add(Field::Mhdr, FaultKind::Major(mhdr.major()));
        }
        return;
    }
    if mhdr.rfu() != 0 {
        add(Field::Mhdr, FaultKind::RfuBits(mhdr.0 & 0b1_1100));
    }
    if mhdr.major() != 0 {
        add(Field::Mhdr, FaultKind::Major(mhdr.major()));
    }
}

fn data_faults(data: &DataFrame, n: usize, add: &mut impl FnMut(Field, FaultKind)) {
    if data.direction() == Direction::Downlink && data.fctrl.adr_ack_req() {
        add(Field::FCtrl, FaultKind::RfuBits(0x40));
    }
    if let Some(payload) = &data.payload {
        match payload.port {
            0 if !data.fopts.is_empty() => add(Field::FOpts, FaultKind::FOptsWithPort0),
            0 if payload.frm.is_empty() => add(Field::FPort, FaultKind::EmptyPort0),
            port @ 227.. => add(Field::FPort, FaultKind::ReservedPort(port)),
            _ => {}
        }
    }
    let mac_payload = n - 5;
    if mac_payload > MAX_MAC_PAYLOAD {
        add(Field::FrmPayload, FaultKind::TooLong { found: mac_payload, most: MAX_MAC_PAYLOAD });
    }
}
