//! The values in force: what each is, who set it, and how sure it is.

use std::collections::BTreeMap;

use crate::{region::ChannelMask, roster::Class};

/// Who set a value.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum By {
    /// The channel plan.
    Plan,
    /// The accept that began the session.
    Accept,
    /// A MAC request, by its place in [`super::Settings::exchanges`].
    Exchange(usize),
    /// The node's firmware, as a claim states it.
    Firmware,
    /// The node, by a command of its own.
    Node,
    /// Nobody in the capture.
    Nobody,
}

/// How a value fits what is in force.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Fit {
    /// It is what holds, or what may hold.
    Yes,
    /// It is not.
    No,
    /// What holds is not known.
    Unknown,
}

/// One setting.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct Held<T> {
    value: Option<T>,
    /// What may hold as well, where a request's fate is not known.
    maybe: Vec<T>,
    by: By,
    /// Whether commands may have been missed since it was set.
    doubted: bool,
}

impl<T> Held<T> {
    /// Returns a setting of which nothing is known.
    pub(super) const fn unknown() -> Self {
        Self { value: None, maybe: Vec::new(), by: By::Nobody, doubted: true }
    }

    /// Returns a setting of a value that somebody states.
    pub const fn stated(value: T) -> Self {
        Self::of(value, By::Nobody)
    }

    pub(super) const fn of(value: T, by: By) -> Self {
        Self { value: Some(value), maybe: Vec::new(), by, doubted: false }
    }

    /// Returns the value, as far as the capture shows it.
    pub const fn value(&self) -> Option<&T> {
        self.value.as_ref()
    }

    /// Returns who set it.
    pub const fn by(&self) -> By {
        self.by
    }

    /// Returns whether the capture shows the value, and nothing that may have changed it since.
    pub fn is_sure(&self) -> bool {
        self.value.is_some() && !self.doubted && self.maybe.is_empty()
    }

    /// Returns whether all values that may hold are known.
    pub const fn is_known(&self) -> bool {
        self.value.is_some() && !self.doubted
    }

    /// Returns what else may hold.
    pub fn maybe(&self) -> &[T] {
        &self.maybe
    }

    /// Returns the value, where it is sure.
    pub fn sure(&self) -> Option<&T> {
        self.value.as_ref().filter(|_| self.is_sure())
    }

    /// Returns all values that may hold.
    pub fn all(&self) -> impl Iterator<Item = &T> {
        self.value.iter().chain(&self.maybe)
    }

    pub(super) fn take(&mut self, value: T, by: By) {
        *self = Self::of(value, by);
    }

    /// Commands may have been missed.
    pub(super) const fn doubt(&mut self) {
        self.doubted = true;
    }
}

impl<T: PartialEq> Held<T> {
    /// Returns how a value fits.
    pub fn fit(&self, value: &T) -> Fit {
        if self.all().any(|own| own == value) {
            return Fit::Yes;
        }
        if self.value.is_none() || self.doubted { Fit::Unknown } else { Fit::No }
    }

    /// A request whose fate is not known asks for this.
    pub(super) fn may_be(&mut self, value: T) {
        if self.fit(&value) != Fit::Yes {
            self.maybe.push(value);
        }
    }
}

/// A channel of a dynamic plan.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct Channel {
    /// Its frequency, hertz; 0 where it is closed.
    pub hz: u32,
    /// Lowest data rate.
    pub dr_min: u8,
    /// Highest data rate.
    pub dr_max: u8,
}

/// All settings at one moment.
#[derive(Clone, Debug, PartialEq)]
pub struct Belief {
    /// Seconds to RX1.
    pub rx_delay: Held<u8>,
    /// RX1DROffset.
    pub rx1_offset: Held<u8>,
    /// Data rate of RX2.
    pub rx2_rate: Held<u8>,
    /// Frequency of RX2.
    pub rx2_hz: Held<u32>,
    /// DownlinkDwellTime.
    pub down_dwell: Held<bool>,
    /// UplinkDwellTime.
    pub up_dwell: Held<bool>,
    /// The channels of a dynamic plan, by their index.
    pub channels: BTreeMap<u16, Held<Channel>>,
    /// Whether all channels are known.
    pub all_channels: bool,
    /// RX1 frequencies of channels that DlChannelReq moved.
    pub moved: BTreeMap<u16, Held<u32>>,
    /// Whether all of those are known.
    pub all_moved: bool,
    /// The channels enabled.
    pub mask: Held<ChannelMask>,
    /// Uplink data rate as LinkADRReq set it; unknown while the node chooses.
    pub rate: Held<u8>,
    /// TXPower as LinkADRReq set it.
    pub power: Held<u8>,
    /// NbTrans.
    pub nb_trans: Held<u8>,
    /// ADR_ACK_LIMIT.
    pub adr_limit: Held<u32>,
    /// ADR_ACK_DELAY.
    pub adr_delay: Held<u32>,
    /// MaxDCycle.
    pub duty: Held<u8>,
    /// The node's class.
    pub class: Held<Class>,
    /// Periodicity of the ping slots.
    pub ping_period: Held<u8>,
    /// Frequency of the ping slots; 0 stands for the plan's own.
    pub ping_hz: Held<u32>,
    /// Data rate of the ping slots.
    pub ping_rate: Held<u8>,
}

/// What holds where nothing was replayed.
pub(super) static NOTHING: Belief = Belief::nothing();

impl Belief {
    /// Returns settings of which nothing is known.
    pub(super) const fn nothing() -> Self {
        Self {
            rx_delay: Held::unknown(),
            rx1_offset: Held::unknown(),
            rx2_rate: Held::unknown(),
            rx2_hz: Held::unknown(),
            down_dwell: Held::unknown(),
            up_dwell: Held::unknown(),
            channels: BTreeMap::new(),
            all_channels: false,
            moved: BTreeMap::new(),
            all_moved: false,
            mask: Held::unknown(),
            rate: Held::unknown(),
            power: Held::unknown(),
            nb_trans: Held::unknown(),
            adr_limit: Held::unknown(),
            adr_delay: Held::unknown(),
            duty: Held::unknown(),
            class: Held::unknown(),
            ping_period: Held::unknown(),
            ping_hz: Held::unknown(),
            ping_rate: Held::unknown(),
        }
    }

    /// Commands may have been missed: nothing is sure from here on.
    pub(super) fn doubt(&mut self) {
        let Self {
            rx_delay,
            rx1_offset,
            rx2_rate,
            rx2_hz,
            down_dwell,
            up_dwell,
            channels,
            all_channels,
            moved,
            all_moved,
            mask,
            rate,
            power,
            nb_trans,
            adr_limit,
            adr_delay,
            duty,
            // The class is the firmware's business.
            class: _,
            ping_period,
            ping_hz,
            ping_rate,
        } = self;
        for held in [rx_delay, rx1_offset, rx2_rate, rate, power, nb_trans, duty] {
            held.doubt();
        }
        for held in [ping_period, ping_rate] {
            held.doubt();
        }
        for held in [rx2_hz, adr_limit, adr_delay, ping_hz] {
            held.doubt();
        }
        for held in [down_dwell, up_dwell] {
            held.doubt();
        }
        channels.values_mut().for_each(Held::doubt);
        moved.values_mut().for_each(Held::doubt);
        mask.doubt();
        *all_channels = false;
        *all_moved = false;
    }

    /// Returns the channels of a dynamic plan that lie on a frequency.
    pub fn channels_at(&self, hz: u32) -> impl Iterator<Item = (u16, &Held<Channel>)> {
        let near = move |held: &Held<Channel>| {
            held.all().any(|channel| channel.hz > 0 && channel.hz.abs_diff(hz) < NEAR_HZ)
        };
        self.channels.iter().filter(move |(_, held)| near(held)).map(|(i, held)| (*i, held))
    }
}

/// Gateways report what their synthesiser can make, some hundred hertz beside the channel.
pub(super) const NEAR_HZ: u32 = 1_000;
