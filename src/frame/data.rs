//! Data frames: FHDR, FPort, FRMPayload.
//!
//! | field | MHDR | DevAddr | FCtrl | FCnt | FOpts | FPort | FRMPayload | MIC |
//! |-------|------|---------|-------|------|-------|-------|------------|-----|
//! | octets | 1 | 4 | 1 | 2 | 0..15 | 0 or 1 | 0..N | 4 |
//!
//! LoRaWAN 1.0.4 p. 17-24, 1.1 4.3. FRMPayload stays encrypted here, and so does FOpts in 1.1.

use super::{DecodeError, Direction, FType, Field, LenFrom, Mhdr, Mic, input::Reader};
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
#[derive(Clone, Debug, Default, Eq, PartialEq)]
pub struct FOpts(Vec<u8>);

impl FOpts {
    /// Returns the options if they are at most 15 octets.
    pub fn new(octets: Vec<u8>) -> Option<Self> {
        (octets.len() <= 15).then_some(Self(octets))
    }

    /// Returns the octets.
    pub fn octets(&self) -> &[u8] {
        &self.0
    }

    /// Returns FOptsLen, 0 to 15.
    pub fn len(&self) -> u8 {
        // `new` lets no more than 15 octets in.
        u8::try_from(self.0.len()).unwrap_or(15)
    }

    /// Returns whether there are none.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
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

    pub(super) fn read(reader: &mut Reader<'_>, mhdr: Mhdr) -> Result<Self, DecodeError> {
        let dev_addr = DevAddr::from_wire(reader.fixed(Field::DevAddr)?);
        let [fctrl] = reader.fixed(Field::FCtrl)?;
        let fcnt = u16::from_le_bytes(reader.fixed(Field::FCnt)?);
        let count = fctrl & 0x0F;
        let because = LenFrom::FOptsLen(count);
        let fopts = reader.octets(Field::FOpts, usize::from(count), Mic::LEN, because)?.to_vec();
        let payload = if reader.left() > Mic::LEN {
            let [port] = reader.fixed(Field::FPort)?;
            Some(Payload { port, frm: reader.rest(Field::FrmPayload, Mic::LEN).to_vec() })
        } else {
            None
        };
        let mic = Mic(reader.fixed(Field::Mic)?);
        Ok(Self {
            mhdr,
            dev_addr,
            fctrl: FCtrl::new(fctrl),
            fcnt,
            fopts: FOpts(fopts),
            payload,
            mic,
        })
    }

    pub(crate) fn put_signed(&self, out: &mut Vec<u8>) {
        out.push(self.mhdr.0);
        out.extend(self.dev_addr.to_wire());
        out.push(self.fctrl.0 | self.fopts.len());
        out.extend(self.fcnt.to_le_bytes());
        out.extend(&self.fopts.0);
        if let Some(payload) = &self.payload {
            out.push(payload.port);
            out.extend(&payload.frm);
        }
    }
}
