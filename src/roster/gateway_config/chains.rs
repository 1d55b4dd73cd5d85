//! Radios and the chains that receive at an offset from a radio's centre.

use super::{FilePlace, GatewayConfig, Stated, put};

/// A radio.
#[derive(Clone, Debug, Default)]
pub struct Radio {
    /// Its number.
    pub number: u8,
    /// Whether it is in use.
    pub enable: Option<Stated<bool>>,
    /// Its centre, hertz.
    pub centre_hz: Option<Stated<u32>>,
    /// Whether it transmits.
    pub tx_enable: Option<Stated<bool>>,
    /// The lowest frequency that it transmits on, hertz.
    pub tx_min_hz: Option<Stated<u32>>,
    /// The highest.
    pub tx_max_hz: Option<Stated<u32>>,
}

impl Radio {
    pub(super) fn overlay(&mut self, over: Self) {
        put(&mut self.enable, over.enable);
        put(&mut self.centre_hz, over.centre_hz);
        put(&mut self.tx_enable, over.tx_enable);
        put(&mut self.tx_min_hz, over.tx_min_hz);
        put(&mut self.tx_max_hz, over.tx_max_hz);
    }
}

/// Which chain.
#[derive(Clone, Copy, Debug, Eq, Hash, Ord, PartialEq, PartialOrd)]
pub enum ChainName {
    /// `chan_multiSF_0` and so on: 125 kHz, all spreading factors.
    MultiRate(u8),
    /// `chan_Lora_std`: one bandwidth, one spreading factor.
    Lora,
    /// `chan_FSK`.
    Fsk,
}

impl std::fmt::Display for ChainName {
    /// Prints the name as the file spells it.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::MultiRate(number) => write!(f, "chan_multiSF_{number}"),
            Self::Lora => f.write_str("chan_Lora_std"),
            Self::Fsk => f.write_str("chan_FSK"),
        }
    }
}

/// A chain that receives.
#[derive(Clone, Debug)]
pub struct Chain {
    /// Which.
    pub name: ChainName,
    /// Whether it is in use.
    pub enable: Option<Stated<bool>>,
    /// The number of its radio.
    pub radio: Option<Stated<u8>>,
    /// Its offset from the radio's centre, hertz.
    pub offset_hz: Option<Stated<i32>>,
    /// Its bandwidth, hertz, where it is stated.
    pub bandwidth_hz: Option<Stated<u32>>,
}

impl Chain {
    pub(super) const fn new(name: ChainName) -> Self {
        Self { name, enable: None, radio: None, offset_hz: None, bandwidth_hz: None }
    }

    pub(super) fn overlay(&mut self, over: Self) {
        put(&mut self.enable, over.enable);
        put(&mut self.radio, over.radio);
        put(&mut self.offset_hz, over.offset_hz);
        put(&mut self.bandwidth_hz, over.bandwidth_hz);
    }
}

/// Whether a chain receives.
#[derive(Clone, Debug, Eq, PartialEq)]
pub enum Reception {
    /// It is enabled, and so is its radio.
    On,
    /// Its `enable` is false: where.
    ChainOff(FilePlace),
    /// The `enable` of its radio is false: where.
    RadioOff(FilePlace),
    /// The file does not say.
    Unknown,
}

/// A channel as the file sets it.
#[derive(Clone, Debug)]
pub struct Channel {
    /// The chain that receives it.
    pub chain: ChainName,
    /// Its frequency, hertz: the radio's centre plus the offset.
    pub hz: Option<u32>,
    /// Its offset from the radio's centre, hertz.
    pub offset_hz: Option<i32>,
    /// The radio's centre, hertz.
    pub centre_hz: Option<u32>,
    /// Its bandwidth, kilohertz.
    pub bandwidth_khz: Option<u16>,
    /// Whether it is received.
    pub reception: Reception,
    /// Where the file states its offset, or else whether it is enabled.
    pub place: Option<FilePlace>,
}

impl GatewayConfig {
    /// Returns the channels that the file sets, in the order of the chains.
    pub fn channels(&self) -> Vec<Channel> {
        self.chains.iter().map(|chain| self.channel(chain)).collect()
    }

    fn channel(&self, chain: &Chain) -> Channel {
        let number = chain.radio.as_ref().map(|radio| radio.value);
        let radio = number.and_then(|number| self.radios.iter().find(|r| r.number == number));
        let centre_hz = radio.and_then(|radio| radio.centre_hz.as_ref()).map(|hz| hz.value);
        let offset_hz = chain.offset_hz.as_ref().map(|hz| hz.value);
        let hz = centre_hz.zip(offset_hz).and_then(|(hz, offset)| hz.checked_add_signed(offset));
        let radio_enable = radio.and_then(|radio| radio.enable.as_ref());
        let reception = match (&chain.enable, radio_enable) {
            _ if self.sets_twice => Reception::Unknown,
            (Some(chain), _) if !chain.value => Reception::ChainOff(chain.place.clone()),
            (_, Some(radio)) if !radio.value => Reception::RadioOff(radio.place.clone()),
            (Some(_), Some(_)) => Reception::On,
            _ => Reception::Unknown,
        };
        let bandwidth_khz = match chain.name {
            // Fixed in the receiver (the regional plans' narrow channels).
            ChainName::MultiRate(_) => Some(125),
            ChainName::Lora | ChainName::Fsk => chain
                .bandwidth_hz
                .as_ref()
                .and_then(|bandwidth| u16::try_from(bandwidth.value / 1000).ok()),
        };
        let offset = chain.offset_hz.as_ref().map(|stated| &stated.place);
        let place = offset.or(chain.enable.as_ref().map(|stated| &stated.place)).cloned();
        Channel { chain: chain.name, hz, offset_hz, centre_hz, bandwidth_khz, reception, place }
    }
}
