//! What gateways and their servers say to each other besides frames.

use jiff::Timestamp;

use crate::{
    id::{DevAddr, Eui64, JoinEui},
    intake::text::printable,
    radio::Modulation,
    region::Plan,
};

/// One of the two exchanges of the UDP protocol, each with an acknowledgement of its own.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub enum Leg {
    /// The gateway reports: PUSH_DATA and PUSH_ACK.
    Push,
    /// The gateway opens the way down: PULL_DATA and PULL_ACK.
    Pull,
}

/// What became of an order to send: `txpk_ack`, `dntxed`.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Outcome {
    /// Why the frame is not sent; [`TxError::None`] where it is.
    pub error: TxError,
    /// What the gateway changed, but sent the frame.
    pub warn: Option<TxError>,
    /// The value that the warning is about: for [`TxError::TxPower`] the power used, dBm.
    pub value: Option<f32>,
    /// The number of the order, where the format has numbers and no tokens.
    pub number: Option<u32>,
    /// Who says it.
    pub by: Witness,
}

/// Who says what became of an order to send.
#[derive(Clone, Copy, Debug, Default, Eq, Hash, PartialEq)]
pub enum Witness {
    /// The gateway, when it takes the order: TX_ACK.
    #[default]
    Gateway,
    /// A station, after it sent the frame: `dntxed`.
    Station,
    /// Nobody says it: a receiver heard the frame on the air.
    Air,
}

/// Why a gateway does not send a frame.
#[derive(Clone, Debug, Default, Eq, Hash, PartialEq)]
pub enum TxError {
    /// It does send it.
    #[default]
    None,
    /// The moment was past when the frame came.
    TooLate,
    /// The moment is too far ahead.
    TooEarly,
    /// Another frame is sent then.
    CollisionPacket,
    /// A beacon is sent then.
    CollisionBeacon,
    /// The gateway cannot send on that frequency.
    TxFreq,
    /// The gateway cannot send with that power.
    TxPower,
    /// GPS time was asked for, and the gateway has none.
    GpsUnlocked,
    /// A word that the protocol does not have; control characters escaped.
    Other(String),
}

impl TxError {
    const NAMES: [(&'static str, Self); 8] = [
        ("NONE", Self::None),
        ("TOO_LATE", Self::TooLate),
        ("TOO_EARLY", Self::TooEarly),
        ("COLLISION_PACKET", Self::CollisionPacket),
        ("COLLISION_BEACON", Self::CollisionBeacon),
        ("TX_FREQ", Self::TxFreq),
        ("TX_POWER", Self::TxPower),
        ("GPS_UNLOCKED", Self::GpsUnlocked),
    ];

    /// Returns the word as the protocol spells it: `TOO_LATE`.
    pub fn name(&self) -> &str {
        if let Self::Other(word) = self {
            return word;
        }
        Self::NAMES.iter().find(|(_, error)| error == self).map_or("NONE", |(name, _)| name)
    }

    /// Returns the error of that name, in any case; an unknown word is kept.
    pub fn by_name(name: &str) -> Self {
        let known = Self::NAMES.into_iter().find(|(known, _)| known.eq_ignore_ascii_case(name));
        known.map_or_else(|| Self::Other(printable(name).into_owned()), |(_, error)| error)
    }
}

/// A gateway's report about itself: `stat`. Counts are those since the report before.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Stat {
    /// The gateway's clock.
    pub time: Option<Timestamp>,
    /// Frames received.
    pub rxnb: Option<u64>,
    /// Frames received with a CRC that holds.
    pub rxok: Option<u64>,
    /// Frames forwarded.
    pub rxfw: Option<u64>,
    /// Datagrams that the server acknowledged, per cent.
    pub ackr: Option<f32>,
    /// Downlink datagrams received.
    pub dwnb: Option<u64>,
    /// Frames sent.
    pub txnb: Option<u64>,
    /// Temperature of the concentrator, degrees Celsius.
    pub temp: Option<f32>,
}

/// What a station and its server say about how the gateway is set up.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum Setup {
    /// `router_config`: how the server sets up the gateway.
    Plan(GatewayPlan),
    /// `version`: what the gateway runs.
    Version(StationVersion),
    /// Discovery: where the gateway finds its server.
    Discovery(Discovery),
}

/// A station asks for its server's address, and the server answers.
#[derive(Clone, Debug, Eq, PartialEq)]
pub enum Discovery {
    /// The station asks, and names itself.
    Asked,
    /// The server gives it an address (`uri`).
    Answered,
    /// The server gives it none.
    Refused {
        /// Why, in the server's words.
        reason: String,
    },
}

/// What a station says about itself: `version`.
#[derive(Clone, Debug, Default, Eq, PartialEq)]
pub struct StationVersion {
    /// Version of the station protocol.
    pub protocol: Option<u8>,
    /// Version of the program.
    pub station: Option<String>,
    /// What it can do: words such as `gps`.
    pub features: Option<String>,
}

/// How a gateway is set up, as the station protocol's `router_config` says it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct GatewayPlan {
    /// The region, in the protocol's words: `EU863`.
    pub region: Option<String>,
    /// The frequencies that it may send on, hertz, from and to.
    pub range_hz: Option<(u32, u32)>,
    /// The modulation of each data rate index.
    pub rates: [Option<Modulation>; 16],
    /// Its uplink channels: hertz, lowest and highest data rate index.
    pub uplinks: Vec<(u32, u8, u8)>,
    /// The JoinEUIs whose requests it passes on, from and to; `None` where it passes on all.
    pub join_euis: Option<Vec<(Eui64, Eui64)>>,
    /// The networks whose data it passes on; `None` where it passes on all.
    pub net_ids: Option<Vec<u32>>,
}

impl GatewayPlan {
    /// Returns the channel plan of its region, by the protocol's name for it.
    pub fn channels(&self) -> Option<&'static Plan> {
        Plan::by_name(match self.region.as_deref()? {
            "EU863" => "EU868",
            "US902" => "US915",
            "AU915" | "AU916" => "AU915",
            // Which of several plans it means is not said.
            "CN470" | "CN470510" | "AS923" => return None,
            other => other,
        })
    }

    /// Returns whether requests with this JoinEUI are passed on.
    pub fn passes_join(&self, join_eui: JoinEui) -> bool {
        let within = |(from, to): &(Eui64, Eui64)| (*from..=*to).contains(&join_eui.0);
        self.join_euis.as_ref().is_none_or(|ranges| ranges.iter().any(within))
    }

    /// Returns whether data of this address is passed on, as far as that can be told: the filter goes
    /// by the seven first bits, which are a network's for those of type 0 alone.
    pub fn passes_data(&self, dev_addr: DevAddr) -> bool {
        let Some(net_ids) = &self.net_ids else { return true };
        let index = dev_addr.0 >> 25;
        net_ids.iter().any(|id| id >> 21 != 0 || id & 0x3F == index)
    }
}

/// The end of a websocket connection (RFC 6455, 7.1).
#[derive(Clone, Debug, Default, Eq, PartialEq)]
pub struct Closed {
    /// Status code: 1000 is a normal end.
    pub code: Option<u16>,
    /// Why, in the words of who closed it.
    pub reason: Option<String>,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_error_of_a_gateway_is_found_by_its_name_and_an_unknown_one_is_kept() {
        for (name, error) in TxError::NAMES {
            assert_eq!(TxError::by_name(name), error);
            assert_eq!(error.name(), name);
        }
        let odd = TxError::by_name("LOST\u{7}");
        assert_eq!(odd.name(), "LOST\\u{7}");
    }
}
