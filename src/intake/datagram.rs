//! A gateway's datagram, once read: its kind, its frames with their radio data, its reports.

use jiff::Timestamp;

use super::note::Note;
use crate::{
    frame::{Direction, Mhdr},
    id::{DevAddr, Eui64, JoinEui},
    radio::{CodingRate, Modulation},
    region::Plan,
};

/// One datagram between a gateway and its server.
#[derive(Clone, Debug, PartialEq)]
pub struct Datagram {
    /// The line or packet of the capture, from 1; 0 where it comes from elsewhere.
    pub line: u64,
    /// What `line` counts.
    pub unit: Unit,
    /// When it was captured.
    pub at: Option<Timestamp>,
    /// The gateway's EUI.
    pub gateway: Option<Eui64>,
    /// What it is.
    pub kind: Kind,
    /// The two octets by which an answer finds its question, first octet most significant.
    pub token: Option<u16>,
    /// The frames that the gateway heard.
    pub rxpk: Vec<Uplink>,
    /// The frame that the gateway is to send.
    pub txpk: Option<Downlink>,
    /// What the gateway says about a frame it was to send.
    pub ack: Option<TxAck>,
    /// The gateway's report about itself.
    pub stat: Option<Stat>,
    /// How the gateway is set up, as its server told it.
    pub plan: Option<Box<GatewayPlan>>,
    /// Whether the gateway says, by the session in its counter, that it began anew before this.
    pub restarted: bool,
    /// How it was found.
    pub found: Found,
    /// What was odd; all else is whole.
    pub notes: Vec<Note>,
}

impl Datagram {
    /// Returns a datagram of a kind of which nothing else is known.
    pub const fn new(kind: Kind) -> Self {
        Self {
            line: 0,
            unit: Unit::Line,
            at: None,
            gateway: None,
            kind,
            token: None,
            rxpk: Vec::new(),
            txpk: None,
            ack: None,
            stat: None,
            plan: None,
            restarted: false,
            found: Found::Whole,
            notes: Vec::new(),
        }
    }
}

impl Datagram {
    /// Returns what stands for a place in which nothing can be read.
    pub const fn damaged(unit: Unit, line: u64) -> Self {
        let mut datagram = Self::new(Kind::PullResp);
        (datagram.unit, datagram.line, datagram.found) = (unit, line, Found::Damaged);
        datagram
    }

    /// Returns whether it may have told a gateway to send something that cannot be read.
    pub fn loses_a_downlink(&self) -> bool {
        let damaged = self.found == Found::Damaged || self.notes.iter().any(Note::loses_a_frame);
        damaged && self.kind == Kind::PullResp && self.txpk.is_none()
    }
}

/// Returns a frame that stands by itself as a datagram of which nothing but its place is known: its
/// MHDR says which way it went.
pub fn bare_frame(octets: Vec<u8>, line: u64) -> Datagram {
    let mhdr = octets.first().map(|first| Mhdr(*first));
    let mut datagram = Datagram { line, found: Found::Alone, ..Datagram::new(Kind::PushData) };
    if mhdr.and_then(|mhdr| mhdr.ftype().direction()) == Some(Direction::Downlink) {
        datagram.kind = Kind::PullResp;
        datagram.txpk = Some(Downlink { octets, ..Downlink::default() });
    } else {
        datagram.rxpk.push(Uplink { octets, ..Uplink::default() });
    }
    datagram
}

/// How a datagram was found, and with that how much it tells that others are not there.
#[derive(Clone, Copy, Debug, Default, Eq, Hash, PartialEq)]
pub enum Found {
    /// In a format of its own, whole.
    #[default]
    Whole,
    /// In a format of its own, behind words of a log.
    Prefixed,
    /// In text that states no format: it was guessed.
    Guessed,
    /// A frame by itself: of time, gateway and radio nothing is known but the order.
    Alone,
    /// As a receiver heard it on the air: what a server said is not there.
    OnAir,
    /// Not at all: something was here that cannot be read.
    Damaged,
}

impl Found {
    /// Returns whether a line of text had to be searched for it.
    pub const fn is_in_text(self) -> bool {
        matches!(self, Self::Prefixed | Self::Guessed)
    }

    /// Returns whether an uplink that is not there was not received: logs leave out what they like.
    pub const fn is_complete(self) -> bool {
        matches!(self, Self::Whole | Self::Prefixed | Self::OnAir)
    }
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
    /// Returns the channel plan of its region.
    pub fn channels(&self) -> Option<&'static Plan> {
        self.region.as_deref().and_then(super::station::region)
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

/// What a capture is counted in.
#[derive(Clone, Copy, Debug, Default, Eq, Hash, Ord, PartialEq, PartialOrd)]
pub enum Unit {
    /// Lines of text.
    #[default]
    Line,
    /// Packets of a recorded network or radio.
    Packet,
}

impl Unit {
    /// Returns `line` or `packet`.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Line => "line",
            Self::Packet => "packet",
        }
    }
}

impl std::fmt::Display for Unit {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.name())
    }
}

/// The kinds of datagram.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub enum Kind {
    /// Frames heard, or a report; from the gateway.
    PushData,
    /// The server took a PUSH_DATA.
    PushAck,
    /// The gateway asks for downlinks.
    PullData,
    /// The server took a PULL_DATA.
    PullAck,
    /// A frame to send; from the server.
    PullResp,
    /// What the gateway did with a PULL_RESP.
    TxAck,
}

impl Kind {
    /// Every kind, in the order of its identifier on the wire, from 0.
    pub const ALL: [Self; 6] =
        [Self::PushData, Self::PushAck, Self::PullData, Self::PullResp, Self::PullAck, Self::TxAck];

    /// Returns the name as the protocol spells it: `PUSH_DATA`.
    pub const fn name(self) -> &'static str {
        match self {
            Self::PushData => "PUSH_DATA",
            Self::PushAck => "PUSH_ACK",
            Self::PullData => "PULL_DATA",
            Self::PullResp => "PULL_RESP",
            Self::PullAck => "PULL_ACK",
            Self::TxAck => "TX_ACK",
        }
    }

    /// Returns the kind of that name, in any case.
    pub fn by_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.name().eq_ignore_ascii_case(name))
    }
}

/// A frame as one gateway heard it: an element of `rxpk`.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Uplink {
    /// The PHYPayload.
    pub octets: Vec<u8>,
    /// The concentrator's counter when the frame ended, microseconds; turns over every 71.6 min.
    pub tmst: Option<u32>,
    /// The same moment, milliseconds since 6 January 1980 GPS.
    pub tmms: Option<u64>,
    /// The same moment, UTC.
    pub time: Option<Timestamp>,
    /// Centre frequency, hertz.
    pub freq_hz: Option<u32>,
    /// Spreading factor and bandwidth, or bit rate.
    pub modulation: Option<Modulation>,
    /// Forward error correction.
    pub coding_rate: Option<CodeRate>,
    /// The gateway's own number of the receiver, which is not the LoRaWAN channel index.
    pub chan: Option<u16>,
    /// Power of the channel, dBm.
    pub rssi: Option<f32>,
    /// Signal to noise ratio, dB.
    pub snr: Option<f32>,
    /// What the concentrator says of the frame's CRC.
    pub crc: Crc,
    /// Place in `rxpk`, from 0.
    pub index: usize,
}

/// Forward error correction as a gateway names it: `codr`.
#[derive(Clone, Debug, Eq, Hash, PartialEq)]
pub enum CodeRate {
    /// One of LoRa: `4/5` to `4/8`.
    Lora(CodingRate),
    /// Another: of LR-FHSS, or `OFF`; control characters escaped.
    Other(String),
}

impl CodeRate {
    /// Returns the coding rate of that name.
    pub fn by_name(name: &str) -> Self {
        let lora = match name.as_bytes() {
            [b'4', b'/', bits] => CodingRate::of_bits(bits.wrapping_sub(b'0')),
            _ => None,
        };
        lora.map_or_else(|| Self::Other(super::text::printable(name).into_owned()), Self::Lora)
    }

    /// Returns the coding rate of LoRa, if it is one.
    pub const fn lora(&self) -> Option<CodingRate> {
        match self {
            Self::Lora(rate) => Some(*rate),
            Self::Other(_) => None,
        }
    }
}

/// What a concentrator says of the CRC of the physical layer.
#[derive(Clone, Copy, Debug, Default, Eq, Hash, PartialEq)]
pub enum Crc {
    /// It holds (`stat` 1).
    Ok,
    /// It fails (`stat` -1): the octets are not those that were sent.
    Bad,
    /// The frame carries none (`stat` 0).
    None,
    /// Not said.
    #[default]
    Unknown,
}

/// A frame that a gateway is told to send: `txpk`.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Downlink {
    /// The PHYPayload.
    pub octets: Vec<u8>,
    /// When to send it.
    pub when: When,
    /// Whether the counter that its time is meant by began anew since: the gateway drops it.
    pub gone: bool,
    /// When to send it, UTC, as the protocol's first versions said it.
    pub time: Option<Timestamp>,
    /// Centre frequency, hertz.
    pub freq_hz: Option<u32>,
    /// Spreading factor and bandwidth, or bit rate.
    pub modulation: Option<Modulation>,
    /// Forward error correction.
    pub coding_rate: Option<CodeRate>,
    /// Power to send with, dBm.
    pub power_dbm: Option<f32>,
    /// Whether the chirps are inverted (`ipol`), as nodes expect it.
    pub inverted: Option<bool>,
    /// Whether the CRC of the physical layer is left out (`ncrc`).
    pub no_crc: Option<bool>,
    /// Whether the header of the physical layer is left out (`nhdr`).
    pub no_header: Option<bool>,
    /// Preamble, symbols (LoRa) or octets (FSK).
    pub preamble: Option<u16>,
    /// The radio chain that sends (`rfch`).
    pub rf_chain: Option<u16>,
    /// FSK frequency deviation, hertz (`fdev`).
    pub deviation_hz: Option<u32>,
    /// Whether it is to be sent only where the one before it is not: the same frame in RX2.
    pub alternative: bool,
}

/// When a frame is to be sent.
#[derive(Clone, Copy, Debug, Default, Eq, Hash, PartialEq)]
pub enum When {
    /// At once (`imme`).
    Immediate,
    /// When the concentrator's counter has this value, microseconds (`tmst`).
    Counter(u32),
    /// At this moment, milliseconds since 6 January 1980 GPS (`tmms`).
    Gps(u64),
    /// Not said by any of these.
    #[default]
    Unsaid,
}

/// What a gateway says about a frame that it was to send: `txpk_ack`.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct TxAck {
    /// Why the frame is not sent; [`TxError::None`] where it is.
    pub error: TxError,
    /// What the gateway changed, but sent the frame.
    pub warn: Option<TxError>,
    /// The value that the warning speaks of: for [`TxError::TxPower`] the power used, dBm.
    pub value: Option<f32>,
    /// Nobody said it: the frame itself was heard on the air.
    pub on_air: bool,
    /// A station reported it afterwards, in its own protocol (`dntxed`).
    pub reported: bool,
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
        known.map_or_else(
            || Self::Other(super::text::printable(name).into_owned()),
            |(_, error)| error,
        )
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_kind_is_found_by_its_name() {
        for kind in Kind::ALL {
            assert_eq!(Kind::by_name(kind.name()), Some(kind));
            assert_eq!(Kind::by_name(&kind.name().to_lowercase()), Some(kind));
        }
        assert_eq!(Kind::by_name("PUSH"), None);
    }

    #[test]
    fn a_code_rate_of_lora_is_known_and_another_is_kept() {
        assert_eq!(CodeRate::by_name("4/5").lora(), Some(CodingRate::Cr45));
        assert_eq!(CodeRate::by_name("4/8").lora(), Some(CodingRate::Cr48));
        for name in ["", "4/4", "4/9", "4/", "2/3", "OFF"] {
            assert_eq!(CodeRate::by_name(name), CodeRate::Other(name.into()));
        }
    }

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
