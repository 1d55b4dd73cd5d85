//! Data frames: FHDR, FPort, FRMPayload.
//!
//! | field | MHDR | DevAddr | FCtrl | FCnt | FOpts | FPort | FRMPayload | MIC |
//! |-------|------|---------|-------|------|-------|-------|------------|-----|
//! | octets | 1 | 4 | 1 | 2 | 0..15 | 0 or 1 | 0..N | 4 |
//!
//! LoRaWAN 1.0.4 p. 17-24, 1.1 4.3. FRMPayload stays encrypted here, and so does FOpts in 1.1.

use alloc::vec::Vec;

use nom::Parser;

use super::{
    Direction, FType, Field, LenFrom, Mhdr, Mic,
    input::{Input, Parsed, Reads, before_mic, bytes, field, if_any, rest},
};
use crate::id::DevAddr;

/// A data frame, up or down.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct DataFrame {
    /// MHDR.
    pub mhdr: Mhdr,
    /// DevAddr.
    pub dev_addr: DevAddr,
    /// The four flags of FCtrl.
    pub fctrl: FCtrl,
    /// FCnt: the low half of the 32-bit counter.
    pub fcnt: u16,
    /// FOpts as sent.
    pub fopts: FOpts,
    /// FPort and FRMPayload, where FPort was sent.
    pub payload: Option<Payload>,
    /// MIC.
    pub mic: Mic,
}

/// FPort and what follows it.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct Payload {
    /// FPort.
    pub port: u8,
    /// FRMPayload as sent, encrypted; may be empty.
    pub frm: Vec<u8>,
}

/// The flags of FCtrl, bits 7..4, whose meaning depends on the direction.
#[derive(Clone, Copy, Debug, Default, Eq, PartialEq)]
pub struct FCtrl(u8);

impl FCtrl {
    /// Returns the flags of an FCtrl octet, its FOptsLen dropped.
    pub const fn new(octet: u8) -> Self {
        Self(octet & 0xF0)
    }

    /// Returns the flags, bits 7..4, bits 3..0 zero.
    pub const fn bits(self) -> u8 {
        self.0
    }

    /// Returns ADR, bit 7 both ways.
    pub const fn adr(self) -> bool {
        self.0 & 0x80 != 0
    }

    /// Returns bit 6: ADRACKReq in an uplink; RFU in a downlink (ADRACKReq in 1.0.0 and 1.0.1).
    #[doc(alias = "ADRACKReq")]
    pub const fn adr_ack_req(self) -> bool {
        self.0 & 0x40 != 0
    }

    /// Returns ACK, bit 5 both ways.
    pub const fn ack(self) -> bool {
        self.0 & 0x20 != 0
    }

    /// Returns bit 4: ClassB in an uplink, FPending in a downlink.
    #[doc(alias = "ClassB")]
    pub const fn f_pending(self) -> bool {
        self.0 & 0x10 != 0
    }
}

/// FOpts: 0 to 15 octets.
#[derive(Clone, Copy, Debug, Default, Eq, PartialEq)]
pub struct FOpts {
    octets: [u8; Self::MAX],
    len: u8,
}

impl FOpts {
    /// The most octets: FOptsLen has four bits.
    pub const MAX: usize = 15;

    /// Returns the options if they are at most 15 octets.
    pub fn new(octets: impl AsRef<[u8]>) -> Option<Self> {
        let octets = octets.as_ref();
        let mut own = Self { len: u8::try_from(octets.len()).ok()?, ..Self::default() };
        own.octets.get_mut(..octets.len())?.copy_from_slice(octets);
        Some(own)
    }

    /// Returns the octets.
    pub fn octets(&self) -> &[u8] {
        self.octets.get(..self.len.into()).unwrap_or_default()
    }

    /// Returns FOptsLen, 0 to 15.
    pub const fn len(&self) -> u8 {
        self.len
    }

    /// Returns whether there are none.
    pub const fn is_empty(&self) -> bool {
        self.len == 0
    }
}

impl DataFrame {
    /// Octets of the smallest data frame: no FOpts, no FPort.
    pub const MIN_LEN: usize = 12;

    /// Returns a frame without options or payload and with an all-zero MIC.
    pub fn new(ftype: FType, dev_addr: DevAddr, fcnt: u16) -> Self {
        Self {
            mhdr: Mhdr::new(ftype),
            dev_addr,
            fctrl: FCtrl::default(),
            fcnt,
            fopts: FOpts::default(),
            payload: None,
            mic: Mic([0; 4]),
        }
    }

    /// Returns the way the frame travels.
    pub fn direction(&self) -> Direction {
        self.mhdr.ftype().direction().unwrap_or(Direction::Uplink)
    }

    /// Returns FPort, if one was sent.
    pub fn port(&self) -> Option<u8> {
        self.payload.as_ref().map(|p| p.port)
    }

    pub(crate) fn put_signed(&self, out: &mut Vec<u8>) {
        out.push(self.mhdr.0);
        out.extend(self.dev_addr.to_wire());
        out.push(self.fctrl.0 | self.fopts.len());
        out.extend(self.fcnt.to_le_bytes());
        out.extend(self.fopts.octets());
        if let Some(payload) = &self.payload {
            out.push(payload.port);
            out.extend(&payload.frm);
        }
    }
}

/// FHDR 7..22 | FPort 0..1, FRMPayload 0..N | MIC 4.
pub(super) fn data_frame<'a>(mhdr: Mhdr) -> impl Reads<'a, DataFrame> {
    (
        fhdr,
        before_mic(if_any((field(Field::FPort, |[port]| port), rest(Field::FrmPayload)))),
        field(Field::Mic, Mic),
    )
        .map(move |((dev_addr, fctrl, fcnt, fopts), payload, mic)| {
            let payload = payload.map(|(port, frm)| Payload { port, frm: frm.to_vec() });
            DataFrame { mhdr, dev_addr, fctrl, fcnt, fopts, payload, mic }
        })
}

/// DevAddr 4 | FCtrl 1 | FCnt 2 | FOpts 0..15, as many as FOptsLen in FCtrl says.
fn fhdr(input: Input<'_>) -> Parsed<'_, (DevAddr, FCtrl, u16, FOpts)> {
    let (input, (dev_addr, f_ctrl, fcnt)) = (
        field(Field::DevAddr, DevAddr::from_wire),
        field(Field::FCtrl, |[octet]| octet),
        field(Field::FCnt, u16::from_le_bytes),
    )
        .parse(input)?;
    let len = f_ctrl & 0x0F;
    let (input, fopts) = before_mic(bytes(Field::FOpts, len.into(), LenFrom::FOptsLen(len)))
        .map(|octets| FOpts::new(octets).expect("FOptsLen has four bits"))
        .parse(input)?;
    Ok((input, (dev_addr, FCtrl::new(f_ctrl), fcnt, fopts)))
}
