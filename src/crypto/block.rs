//! The blocks: B0 and B1 in front of a data frame's MIC, A_i under its key stream.
//!
//! | octet | A_i | A of FOpts (1.1) | B0 | B1 (1.1 up) |
//! |-------|-----|------------------|----|-------------|
//! | 0 | 01 | 01 | 49 | 49 |
//! | 1-2 | 0 | 0 | ConfFCnt (1.1 down) or 0 | ConfFCnt |
//! | 3 | 0 | 0 | 0 | TxDr |
//! | 4 | 0 | 01 or 02 with the erratum, else 0 | 0 | TxCh |
//! | 5 | Dir | Dir | Dir | 0 |
//! | 6-9 | DevAddr | DevAddr | DevAddr | DevAddr |
//! | 10-13 | FCnt, 32 bits | FCnt, 32 bits | FCnt, 32 bits | FCnt, 32 bits |
//! | 14 | 0 | 0 | 0 | 0 |
//! | 15 | i, from 1 | 01 with the erratum, else 0 | octets of msg | octets of msg |
//!
//! DevAddr and counters stand least significant octet first. LoRaWAN 1.0.4 p. 24-25, 1.1 4.3.3
//! and 4.4; erratum "FOpts Encryption, Usage of FCntDwn" of 26 January 2018.

use super::Block;
use crate::{frame::Direction, id::DevAddr};

/// What every block of a data frame is made of.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct BlockFields {
    /// Dir.
    pub direction: Direction,
    /// DevAddr, or McAddr of a multicast group.
    pub dev_addr: DevAddr,
    /// The whole 32-bit counter.
    pub fcnt: u32,
}

/// What B1 holds beside [`BlockFields`]: none of it is in the frame.
#[derive(Clone, Copy, Debug, Default, Eq, PartialEq)]
pub struct UplinkContext {
    /// Low half of the counter of the confirmed downlink that the frame acknowledges, or 0.
    pub conf_fcnt: u16,
    /// Data rate index of the transmission.
    pub tx_dr: u8,
    /// Channel index of the transmission, as the node numbers its channels.
    pub tx_ch: u8,
}

/// Which text of 1.1 encrypts FOpts.
#[derive(Clone, Copy, Debug, Default, Eq, Hash, PartialEq)]
pub enum FOptsText {
    /// With the erratum of 26 January 2018.
    #[default]
    Amended,
    /// As published in October 2017.
    AsPublished,
}

/// Which block A encrypts FOpts in 1.1: by its text, and by the counter where the text tells them apart.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub enum FOptsRule {
    /// LoRaWAN 1.1 as published in October 2017.
    AsPublished,
    /// With the erratum of 26 January 2018; the counter is FCntUp or NFCntDwn.
    Erratum,
    /// With the erratum; the counter is AFCntDwn (a downlink whose FPort is above 0).
    ErratumAppCounter,
}

impl FOptsRule {
    /// Returns the rule for a frame that goes this way with that FPort.
    pub fn of(text: FOptsText, direction: Direction, port: Option<u8>) -> Self {
        let app_counter = direction == Direction::Downlink && port.is_some_and(|port| port > 0);
        match text {
            FOptsText::AsPublished => Self::AsPublished,
            FOptsText::Amended if app_counter => Self::ErratumAppCounter,
            FOptsText::Amended => Self::Erratum,
        }
    }
}

fn block(first: [u8; 5], place: &BlockFields, last: u8) -> Block {
    let [a0, a1, a2, a3] = place.dev_addr.to_wire();
    let [f0, f1, f2, f3] = place.fcnt.to_le_bytes();
    let [b0, b1, b2, b3, b4] = first;
    [b0, b1, b2, b3, b4, place.direction.octet(), a0, a1, a2, a3, f0, f1, f2, f3, 0, last]
}

/// Returns B0 for a message of `len` octets. `conf_fcnt` is 0 but in a 1.1 downlink with ACK.
pub fn b0(place: &BlockFields, conf_fcnt: u16, len: usize) -> Block {
    let [lo, hi] = conf_fcnt.to_le_bytes();
    block([0x49, lo, hi, 0, 0], place, len_octet(len))
}

/// Returns B1 of a 1.1 uplink of `len` octets.
pub fn b1(place: &BlockFields, context: &UplinkContext, len: usize) -> Block {
    let [lo, hi] = context.conf_fcnt.to_le_bytes();
    block([0x49, lo, hi, context.tx_dr, context.tx_ch], place, len_octet(len))
}

/// Returns A_i; `i` counts from 1.
pub fn a(place: &BlockFields, i: u8) -> Block {
    block([1, 0, 0, 0, 0], place, i)
}

/// Returns the one block A that encrypts FOpts in 1.1.
pub fn a_fopts(place: &BlockFields, rule: FOptsRule) -> Block {
    let (constant, last) = match rule {
        FOptsRule::AsPublished => (0, 0),
        FOptsRule::Erratum => (1, 1),
        FOptsRule::ErratumAppCounter => (2, 1),
    };
    block([1, 0, 0, 0, constant], place, last)
}

/// The standard gives one octet; a longer frame is not lawful and its length wraps.
#[expect(clippy::cast_possible_truncation, reason = "one byte by the standard")]
fn len_octet(len: usize) -> u8 {
    len as u8
}
