//! What one side holds of a session's settings, and what a request does to them.

use std::collections::BTreeMap;

use crate::{
    frame::Direction,
    radio::Modulation,
    region::{Plan, PlanKind, Window},
    scenario::{air::Channel, dice::Dice},
};

/// Settings, as one side has them.
#[derive(Clone, Debug)]
pub(in crate::scenario) struct Radio {
    pub(in crate::scenario) plan: &'static Plan,
    pub(in crate::scenario) rx_delay: u8,
    pub(in crate::scenario) rx1_offset: u8,
    pub(in crate::scenario) rx2_rate: u8,
    pub(in crate::scenario) rx2_hz: u32,
    pub(in crate::scenario) down_dwell: bool,
    pub(in crate::scenario) up_dwell: bool,
    pub(in crate::scenario) channels: Vec<Channel>,
    /// Those of them that are switched off.
    pub(in crate::scenario) off: Vec<u16>,
    /// RX1 frequencies that are not the channels' own.
    pub(in crate::scenario) moved: BTreeMap<u16, u32>,
    pub(in crate::scenario) rate: u8,
    pub(in crate::scenario) nb_trans: u8,
    /// MaxDCycle.
    pub(in crate::scenario) duty: u8,
}

impl Radio {
    /// Returns the channels that are on.
    pub(in crate::scenario) fn open(&self) -> impl Iterator<Item = Channel> + '_ {
        self.channels.iter().copied().filter(|channel| !self.off.contains(&channel.number))
    }

    /// Returns the data rates that most of the open channels take, and that RX1 can answer.
    pub(in crate::scenario) fn rates(&self) -> Vec<u8> {
        let open: Vec<Channel> = self.open().collect();
        let least = if self.up_dwell { 2 } else { 0 };
        let goes = |dr: &u8| {
            let Some(m @ Modulation::Lora { .. }) = self.plan.dr(Direction::Uplink, *dr) else {
                return false;
            };
            let takes = |channel: &&Channel| {
                channel.takes(*dr) && self.plan.rx1(channel.hz, m, 0, self.down_dwell).is_some()
            };
            open.iter().filter(takes).count() * 2 > open.len()
        };
        (least..16).filter(goes).collect()
    }

    /// Returns those that a node may use all the time: the slowest would pass the duty cycle.
    pub(in crate::scenario) fn brisk_rates(&self) -> Vec<u8> {
        let all = self.rates();
        let brisk: Vec<u8> = all.iter().copied().filter(|dr| *dr > 1).collect();
        if brisk.is_empty() { all } else { brisk }
    }

    /// Returns a channel for the next uplink, and its modulation.
    pub(in crate::scenario) fn place(&self, dice: &mut Dice) -> Option<(Channel, Modulation)> {
        let modulation = self.plan.dr(Direction::Uplink, self.rate)?;
        let fitting: Vec<Channel> =
            self.open().filter(|channel| channel.takes(self.rate)).collect();
        Some((dice.pick(&fitting)?, modulation))
    }

    /// Returns both windows that an uplink opens.
    pub(in crate::scenario) fn windows(
        &self,
        hz: u32,
        modulation: Modulation,
    ) -> (Option<Window>, Option<Window>) {
        let plan = self.plan;
        let number = self.channels.iter().find(|own| own.hz == hz).map(|own| own.number);
        let moved = number.and_then(|number| self.moved.get(&number).copied());
        let rx1 = plan.rx1(hz, modulation, self.rx1_offset, self.down_dwell);
        let rx1 = rx1.map(|window| Window { freq_hz: moved.unwrap_or(window.freq_hz), ..window });
        let rx2 = plan.dr(Direction::Downlink, self.rx2_rate);
        let rx2 = rx2.map(|modulation| Window { freq_hz: self.rx2_hz, modulation, ..plan.rx2() });
        (rx1, rx2)
    }

    /// Carries out a request of the network, and returns whether this side has such a request at all.
    #[expect(clippy::match_same_arms, reason = "a row a command")]
    pub(in crate::scenario) fn obey(&mut self, request: &[u8]) -> bool {
        match *request {
            [0x03, rate_power, lo, hi, redundancy] => {
                self.mask(redundancy >> 4 & 7, u16::from_le_bytes([lo, hi]));
                self.rate = rate_power >> 4;
                self.nb_trans = (redundancy & 0x0F).max(1);
            }
            [0x04, exponent] => self.duty = exponent & 0x0F,
            [0x05, settings, a, b, c] => {
                self.rx1_offset = settings >> 4 & 7;
                self.rx2_rate = settings & 0x0F;
                self.rx2_hz = frequency([a, b, c]);
            }
            [0x06] => {}
            [0x07, index, a, b, c, range] => {
                let number = u16::from(index);
                let channel = Channel::new(number, frequency([a, b, c]), range & 0x0F, range >> 4);
                self.channels.retain(|own| own.number != number);
                self.channels.push(channel);
                self.off.retain(|off| *off != number);
                self.moved.remove(&number);
            }
            [0x08, delay] => self.rx_delay = (delay & 0x0F).max(1),
            [0x09, eirp_dwell] => {
                self.down_dwell = eirp_dwell & 0x20 != 0;
                self.up_dwell = eirp_dwell & 0x10 != 0;
                // A node with the limit raises its data rate by itself.
                if self.up_dwell {
                    self.rate = self.rate.max(2);
                }
            }
            [0x0A, index, a, b, c] => {
                self.moved.insert(u16::from(index), frequency([a, b, c]));
            }
            [0x0C | 0x0E | 0x0F, ..] => {}
            _ => return false,
        }
        true
    }

    /// ChMaskCntl and ChMask of a plan: 16 channels at a time, and 6 for all of a dynamic plan.
    fn mask(&mut self, cntl: u8, bits: u16) {
        if self.plan.kind == PlanKind::Dynamic && cntl == 6 {
            self.off.clear();
            return;
        }
        // 7 of a plan with 72 channels: those of 125 kHz off, the others by the bits.
        if cntl == 7 {
            let narrow = self.channels.iter().map(|own| own.number).filter(|n| *n < 64);
            self.off = narrow.collect();
            return;
        }
        let first = u16::from(cntl) * 16;
        for bit in 0..16 {
            let number = first + bit;
            if bits >> bit & 1 == 1 {
                self.off.retain(|off| *off != number);
            } else if !self.off.contains(&number) {
                self.off.push(number);
            }
        }
    }
}

/// A frequency as commands carry it, hertz.
fn frequency([a, b, c]: [u8; 3]) -> u32 {
    u32::from_le_bytes([a, b, c, 0]) * 100
}

/// A frequency in the octets of a command.
pub(in crate::scenario) const fn octets(hz: u32) -> [u8; 3] {
    let [a, b, c, _] = (hz / 100).to_le_bytes();
    [a, b, c]
}
