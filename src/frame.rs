//! Frames: what a PHYPayload says, octet by octet, and back again.

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
