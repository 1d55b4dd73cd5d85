//! Join-Accept: as sent, where all after MHDR is encrypted, and as the node reads it.
//!
//! | field | JoinNonce | NetID | DevAddr | DLSettings | RxDelay | CFList | MIC |
//! |-------|-----------|-------|---------|------------|---------|--------|-----|
//! | octets | 3 | 3 | 4 | 1 | 1 | 0 or 16 | 4 |
//!
//! LoRaWAN 1.0.4 p. 46-47, 1.1 6.2.3; CFList: RP002-1.0.4, 2.3.

use alloc::vec::Vec;

use nom::{Parser, combinator::eof};

use super::{
    DecodeError, Fault, FaultKind, Field, Fields, LenFrom, Mhdr, Mic,
    input::{Input, Log, Reads, before_mic, bytes, field, if_any, parse},
};
use crate::id::{DevAddr, JoinNonce, NetId};

/// A Join-Accept as it travels: the octets after MHDR are encrypted, MIC included.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct SealedJoinAccept {
    /// MHDR.
    pub mhdr: Mhdr,
    /// The encrypted octets: 16, or 32 with a CFList, in a lawful frame.
    pub sealed: Vec<u8>,
}

impl SealedJoinAccept {
    /// Returns whether the sealed part is a length that a Join-Accept can have.
    pub fn is_whole(&self) -> bool {
        matches!(self.sealed.len(), 16 | 32)
    }
}

/// A Join-Accept after decryption.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct JoinAccept {
    /// MHDR.
    pub mhdr: Mhdr,
    /// JoinNonce.
    pub join_nonce: JoinNonce,
    /// NetID of the network, Home_NetID in 1.1.
    pub net_id: NetId,
    /// The address given.
    pub dev_addr: DevAddr,
    /// DLSettings.
    pub dl_settings: DlSettings,
    /// RxDelay.
    pub rx_delay: RxDelay,
    /// CFList, if there is one.
    pub cf_list: Option<CfList>,
    /// MIC.
    pub mic: Mic,
}

/// A decrypted Join-Accept with the place of each field and what the standard forbids in it.
#[derive(Clone, Debug)]
pub struct OpenedJoinAccept {
    /// MHDR and the decrypted octets.
    pub octets: Vec<u8>,
    /// Where each field stands in `octets`.
    pub fields: Fields,
    /// The fields.
    pub accept: JoinAccept,
    /// What the standard forbids.
    pub faults: Vec<Fault>,
}

impl JoinAccept {
    /// Reads a decrypted Join-Accept: MHDR, then 16 or 32 octets, the last four of them MIC.
    ///
    /// # Errors
    /// [`DecodeError`] when there are fewer octets than the layout needs, or more than it has.
    /// Octets between RxDelay and MIC in another number than 0 or 16 are no CFList: 16 are needed
    /// for one.
    pub fn read_opened(octets: &[u8]) -> Result<OpenedJoinAccept, DecodeError> {
        let mut fields = Fields::default();
        let log = Log::new(&mut fields);
        let accept = parse(opened_join_accept(), Input::logged(octets, &log))?;
        let mut faults = Vec::new();
        let RxDelay(rx_delay) = accept.rx_delay;
        if rx_delay >> 4 != 0 {
            faults.push(Fault::new(12..13, Field::RxDelay, FaultKind::RfuBits(rx_delay & 0xF0)));
        }
        if let Some(CfListType::Rfu(octet)) = accept.cf_list.map(CfList::kind) {
            faults.push(Fault::new(28..29, Field::CfList, FaultKind::CfListType(octet)));
        }
        Ok(OpenedJoinAccept { octets: octets.to_vec(), fields, accept, faults })
    }

    /// Returns MHDR and all fields before MIC: what the MIC covers in LoRaWAN 1.0.x.
    pub fn signed(&self) -> Vec<u8> {
        let mut out = Vec::with_capacity(33);
        out.push(self.mhdr.0);
        out.extend(self.join_nonce.to_wire());
        out.extend(self.net_id.to_wire());
        out.extend(self.dev_addr.to_wire());
        out.extend([self.dl_settings.0, self.rx_delay.0]);
        out.extend(self.cf_list.iter().flat_map(|list| list.0));
        out
    }

    /// Returns the decrypted octets: MHDR, fields, MIC.
    pub fn octets(&self) -> Vec<u8> {
        let mut out = self.signed();
        out.extend(self.mic.0);
        out
    }
}

/// 16 or 32 bytes, encrypted. Fewer than a block are not a Join-Accept.
pub(super) fn sealed_join_accept<'a>(mhdr: Mhdr) -> impl Reads<'a, SealedJoinAccept> {
    let all =
        |input: Input<'a>| bytes(Field::Sealed, input.left().max(16), LenFrom::Layout).parse(input);
    all.map(move |sealed| SealedJoinAccept { mhdr, sealed: sealed.to_vec() })
}

/// MHDR 1 | JoinNonce 3 | NetID 3 | DevAddr 4 | DLSettings 1 | RxDelay 1 | CFList 0 or 16 | MIC 4.
fn opened_join_accept<'a>() -> impl Reads<'a, JoinAccept> {
    (
        field(Field::Mhdr, |[octet]| Mhdr(octet)),
        field(Field::JoinNonce, JoinNonce::from_wire),
        field(Field::NetId, NetId::from_wire),
        field(Field::DevAddr, DevAddr::from_wire),
        field(Field::DlSettings, |[octet]| DlSettings(octet)),
        field(Field::RxDelay, |[octet]| RxDelay(octet)),
        before_mic(if_any(field(Field::CfList, CfList))),
        field(Field::Mic, Mic),
        eof,
    )
        .map(|(mhdr, join_nonce, net_id, dev_addr, dl_settings, rx_delay, cf_list, mic, _)| {
            JoinAccept { mhdr, join_nonce, net_id, dev_addr, dl_settings, rx_delay, cf_list, mic }
        })
}

/// DLSettings: OptNeg in bit 7 (1.1; RFU in 1.0.x), RX1DROffset in 6..4, RX2DataRate in 3..0.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct DlSettings(pub u8);

impl DlSettings {
    /// Returns OptNeg: the server speaks LoRaWAN 1.1.
    pub const fn opt_neg(self) -> bool {
        self.0 & 0x80 != 0
    }

    /// Returns RX1DROffset, 0 to 7.
    pub const fn rx1_dr_offset(self) -> u8 {
        self.0 >> 4 & 0b111
    }

    /// Returns RX2DataRate, 0 to 15.
    pub const fn rx2_data_rate(self) -> u8 {
        self.0 & 0b1111
    }
}

/// RxDelay: bits 3..0 are seconds, 0 means 1; bits 7..4 are RFU.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct RxDelay(pub u8);

impl RxDelay {
    /// Returns the delay of RX1 in seconds, 1 to 15.
    pub const fn seconds(self) -> u8 {
        match self.0 & 0x0F {
            0 => 1,
            s => s,
        }
    }
}

/// CFList: 15 octets and, in the last, its type.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct CfList(pub [u8; 16]);

/// The kinds of CFList.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum CfListType {
    /// 0: five frequencies.
    Frequencies,
    /// 1: channel masks.
    Masks,
    /// Reserved.
    Rfu(u8),
}

impl CfList {
    /// ChMask words of a type 1 list.
    const MASKS: usize = 6;

    /// Returns a list of type 0: up to five frequencies in Hz, multiples of 100 Hz; 0 is unused.
    pub fn of_frequencies(hz: &[u32]) -> Self {
        let mut out = [0; 16];
        for (slot, hz) in out.chunks_exact_mut(3).zip(hz) {
            slot.iter_mut().zip((hz / 100).to_le_bytes()).for_each(|(o, b)| *o = b);
        }
        Self(out)
    }

    /// Returns a list of type 1: up to six ChMask words, first word = channels 0 to 15.
    pub fn of_masks(masks: &[u16]) -> Self {
        let mut out = [0; 16];
        for (slot, mask) in out.chunks_exact_mut(2).zip(masks.iter().take(Self::MASKS)) {
            slot.copy_from_slice(&mask.to_le_bytes());
        }
        let [.., kind] = &mut out;
        *kind = 1;
        Self(out)
    }

    /// Returns the type, octet 15.
    pub const fn kind(self) -> CfListType {
        let [.., kind] = self.0;
        match kind {
            0 => CfListType::Frequencies,
            1 => CfListType::Masks,
            other => CfListType::Rfu(other),
        }
    }

    /// Returns the five frequencies in Hz of a type 0 list; 0 is unused.
    pub fn frequencies(self) -> impl Iterator<Item = u32> {
        let [octets @ .., _] = self.0;
        (0..5).map(move |i| {
            let at = |k: usize| u32::from(octets.get(3 * i + k).copied().unwrap_or_default());
            (at(0) | at(1) << 8 | at(2) << 16) * 100
        })
    }

    /// Returns the six ChMask words of a type 1 list; which of them count is the region's say.
    ///
    /// Six words are 96 channels, the most that any plan has; octets 12 to 14 are RFU.
    pub fn masks(self) -> impl Iterator<Item = u16> {
        let [octets @ .., _] = self.0;
        (0..Self::MASKS).map(move |i| {
            let at = |k: usize| octets.get(2 * i + k).copied().unwrap_or_default();
            u16::from_le_bytes([at(0), at(1)])
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn frequencies_are_24_bits_of_100_hz() {
        // worked example of the frames reference: 867.1 / 867.3 / 867.5 / 867.7 / 867.9 MHz
        let octets = hex::decode("184F84E85684B85E84886684586E8400").unwrap();
        let list = CfList(octets.try_into().unwrap());
        let hz = [867_100_000, 867_300_000, 867_500_000, 867_700_000, 867_900_000];
        assert_eq!(list.kind(), CfListType::Frequencies);
        assert!(list.frequencies().eq(hz));
        assert_eq!(CfList::of_frequencies(&hz), list);
    }

    #[test]
    fn masks_travel_least_octet_first() {
        // RP002: US915 sub-band 2 = channels 8-15 and 65
        let octets = hex::decode("00FF0000000000000200000000000001").unwrap();
        let list = CfList(octets.try_into().unwrap());
        assert_eq!(list.kind(), CfListType::Masks);
        assert!(list.masks().eq([0xFF00, 0, 0, 0, 0x0002, 0]));
        assert_eq!(CfList::of_masks(&[0xFF00, 0, 0, 0, 2]), list);
    }

    #[test]
    fn octets_after_the_mic_are_not_dropped_in_silence() {
        assert!(JoinAccept::read_opened(&[0x20; 33]).is_ok());
        let error = JoinAccept::read_opened(&[0x20; 35]).unwrap_err();
        assert_eq!(error.to_string(), "2 bytes at byte 33, where the message has ended");
    }

    #[test]
    fn rx_delay_zero_is_one_second() {
        assert_eq!(RxDelay(0).seconds(), 1);
        assert_eq!(RxDelay(0x45).seconds(), 5);
    }
}
