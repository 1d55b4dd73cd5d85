//! MHDR, the first octet of every PHYPayload.
//!
//! | bits | 7..5 | 4..2 | 1..0 |
//! |------|------|------|------|
//! | name | FType (MType before 1.0.4) | RFU | Major |

use super::Direction;

/// MHDR: one octet, kept as sent, RFU bits and Major included (LoRaWAN 1.0.4, 4.2).
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub struct Mhdr(pub u8);

/// The message type, bits 7..5 of MHDR. All eight values have a meaning in 1.1; 1.0.x reserves 110.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
#[doc(alias = "MType")]
pub enum FType {
    /// 000, up.
    JoinRequest,
    /// 001, down.
    JoinAccept,
    /// 010.
    UnconfirmedDataUp,
    /// 011.
    UnconfirmedDataDown,
    /// 100.
    ConfirmedDataUp,
    /// 101.
    ConfirmedDataDown,
    /// 110, up; RFU in LoRaWAN 1.0.x.
    RejoinRequest,
    /// 111, either way.
    Proprietary,
}

impl FType {
    /// Every type, by its value.
    pub const ALL: [Self; 8] = [
        Self::JoinRequest,
        Self::JoinAccept,
        Self::UnconfirmedDataUp,
        Self::UnconfirmedDataDown,
        Self::ConfirmedDataUp,
        Self::ConfirmedDataDown,
        Self::RejoinRequest,
        Self::Proprietary,
    ];

    /// Returns the name that JSON prints.
    pub const fn name(self) -> &'static str {
        match self {
            Self::JoinRequest => "join-request",
            Self::JoinAccept => "join-accept",
            Self::UnconfirmedDataUp => "unconfirmed-data-up",
            Self::UnconfirmedDataDown => "unconfirmed-data-down",
            Self::ConfirmedDataUp => "confirmed-data-up",
            Self::ConfirmedDataDown => "confirmed-data-down",
            Self::RejoinRequest => "rejoin-request",
            Self::Proprietary => "proprietary",
        }
    }

    /// Returns the name that people read.
    pub const fn title(self) -> &'static str {
        match self {
            Self::JoinRequest => "Join-Request",
            Self::JoinAccept => "Join-Accept",
            Self::UnconfirmedDataUp => "unconfirmed data up",
            Self::UnconfirmedDataDown => "unconfirmed data down",
            Self::ConfirmedDataUp => "confirmed data up",
            Self::ConfirmedDataDown => "confirmed data down",
            Self::RejoinRequest => "Rejoin-Request",
            Self::Proprietary => "proprietary frame",
        }
    }

    /// Returns the way such a frame travels; a proprietary one may go either way.
    pub const fn direction(self) -> Option<Direction> {
        match self {
            Self::JoinRequest
            | Self::UnconfirmedDataUp
            | Self::ConfirmedDataUp
            | Self::RejoinRequest => Some(Direction::Uplink),
            Self::JoinAccept | Self::UnconfirmedDataDown | Self::ConfirmedDataDown => {
                Some(Direction::Downlink)
            }
            Self::Proprietary => None,
        }
    }

    /// Returns whether the frame is data, confirmed or not.
    pub const fn is_data(self) -> bool {
        self.is_confirmed() || matches!(self, Self::UnconfirmedDataUp | Self::UnconfirmedDataDown)
    }

    /// Returns whether the frame is confirmed data.
    pub const fn is_confirmed(self) -> bool {
        matches!(self, Self::ConfirmedDataUp | Self::ConfirmedDataDown)
    }
}

impl Mhdr {
    /// Returns the MHDR of that type with Major 0 and no RFU bit set.
    pub const fn new(ftype: FType) -> Self {
        Self((ftype as u8) << 5)
    }

    /// Returns the message type, bits 7..5.
    pub const fn ftype(self) -> FType {
        match self.0 >> 5 {
            0 => FType::JoinRequest,
            1 => FType::JoinAccept,
            2 => FType::UnconfirmedDataUp,
            3 => FType::UnconfirmedDataDown,
            4 => FType::ConfirmedDataUp,
            5 => FType::ConfirmedDataDown,
            6 => FType::RejoinRequest,
            _ => FType::Proprietary,
        }
    }

    /// Returns Major, bits 1..0; 0 is "LoRaWAN R1", the others are RFU.
    pub const fn major(self) -> u8 {
        self.0 & 0b11
    }

    /// Returns the RFU bits 4..2.
    pub const fn rfu(self) -> u8 {
        self.0 >> 2 & 0b111
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_type_has_its_value() {
        // LoRaWAN 1.0.4, p. 16-17; 1.1, 4.2.1
        for (octet, name) in [
            (0x00, "join-request"),
            (0x20, "join-accept"),
            (0x40, "unconfirmed-data-up"),
            (0x60, "unconfirmed-data-down"),
            (0x80, "confirmed-data-up"),
            (0xa0, "confirmed-data-down"),
            (0xc0, "rejoin-request"),
            (0xe0, "proprietary"),
        ] {
            assert_eq!(Mhdr(octet).ftype().name(), name);
            assert_eq!(Mhdr::new(Mhdr(octet).ftype()), Mhdr(octet));
        }
    }

    #[test]
    fn rfu_bits_and_major_are_kept() {
        let mhdr = Mhdr(0x57);
        assert_eq!((mhdr.rfu(), mhdr.major()), (0b101, 0b11));
    }
}
