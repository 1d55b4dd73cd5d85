//! What a mistake changes before the scene begins.

mod key;
mod talk;
mod terms;

use super::{
    Mistake, Probe,
    air::{default_channels, join_rates, unlawful_join_rate, uplink_channels},
    dice::Dice,
    gateway::Gateway,
    life::{Ground, Life},
    node::Nonces,
    server::right_cf_list,
};
use crate::{
    crypto::derive::SessionKeys,
    frame::{Direction, MacVersion},
    id::{DevEui, Eui64, JoinEui},
    region::{ChannelMask, JoinFit, Plan},
};

/// Changes a gateway as its mistakes want it, before any life begins.
pub(super) fn gateway(mistakes: &[Mistake], gateway: &mut Gateway, plan: &'static Plan) {
    for mistake in mistakes {
        match mistake {
            Mistake::AnotherRegion | Mistake::UnlawfulJoinRate | Mistake::ChannelNotGiven => {
                gateway.listens.clear();
            }
            Mistake::OneChannel => {
                gateway.listens.truncate(1);
                if gateway.listens.is_empty() {
                    let first = default_channels(plan, gateway.sub_band).first().map(|c| c.hz);
                    gateway.listens.extend(first);
                }
            }
            Mistake::NoDownlinkPath => {
                gateway.hears_server = false;
                gateway.shows_acks = true;
            }
            Mistake::PowerRefused => gateway.highest_dbm = 20,
            Mistake::FrequencyRefused => gateway.sends_hz = (470_000_000, 470_000_001),
            Mistake::OtherGroup => gateway.sends_hz = (900_000_000, 930_000_000),
            Mistake::NoGps => gateway.has_gps = false,
            _ => {}
        }
    }
}

/// Changes a life as one of its mistakes wants it.
pub(super) fn life(mistake: Mistake, life: &mut Life, ground: &Ground) {
    if talk::talk(mistake, life, ground)
        || identity(mistake, life)
        || key::key(mistake, life)
        || nonce(mistake, life)
    {
        return;
    }
    let _ = radio(mistake, life, ground)
        || terms::accept(mistake, life, ground)
        || terms::later(mistake, life, ground);
}

/// Makes the mistakes of a life that went well until now.
pub(super) fn from_now_on(life: &mut Life, ground: &mut Ground) {
    life.mistakes = std::mem::take(&mut life.later);
    for mistake in life.mistakes.clone() {
        if mistake == Mistake::JoinNonceBack {
            // The node keeps the last of its first join; no claim says so.
            life.served.join_nonce = life.dice.between(1, 0x80);
        } else {
            self::life(mistake, life, ground);
        }
    }
    for gateway in &mut ground.gateways {
        let heard = gateway.hears_server;
        self::gateway(&life.mistakes, gateway, ground.plan);
        if heard && !gateway.hears_server {
            for n in 0..4 {
                gateway.keep_alive(&mut ground.tape, life.wakes_at + n * 9_000_000);
            }
        }
    }
}

fn identity(mistake: Mistake, life: &mut Life) -> bool {
    let node = &mut life.node;
    match mistake {
        Mistake::EuisExchanged => {
            let (dev, join) = (node.dev_eui.0, node.join_eui.0);
            node.dev_eui = DevEui(join);
            node.join_eui = JoinEui(dev);
        }
        Mistake::DevEuiReversed => node.dev_eui = DevEui(node.dev_eui.0.bytes_reversed()),
        Mistake::JoinEuiReversed => node.join_eui = JoinEui(node.join_eui.0.bytes_reversed()),
        Mistake::DevEuiTyped => node.dev_eui = DevEui(slipped_eui(node.dev_eui.0, life.whim)),
        Mistake::JoinEuiTyped => node.join_eui = JoinEui(slipped_eui(node.join_eui.0, life.whim)),
        Mistake::UnknownIdentity => {
            node.dev_eui = DevEui(Eui64::new(life.dice.roll().to_be_bytes()));
        }
        Mistake::LongRequest => {}
        _ => return false,
    }
    true
}

/// Returns an EUI as somebody types it who slips once, in the last six digits.
fn slipped_eui(eui: Eui64, whim: u32) -> Eui64 {
    let mut octets = eui.octets();
    let bit = 1u8 << (whim % 8);
    let place = 5 + (whim / 8 % 3) as usize;
    octets.iter_mut().skip(place).take(1).for_each(|o| *o ^= bit);
    Eui64::new(octets)
}

fn nonce(mistake: Mistake, life: &mut Life) -> bool {
    match mistake {
        Mistake::NonceNotKept => {
            let last = u16::try_from(life.dice.between(30, 900)).unwrap_or(30);
            life.record.last_dev_nonce = Some(last);
            life.served.last_nonce = Some(last);
            life.node.nonces = Nonces::Counting(u16::try_from(life.whim % 3).unwrap_or_default());
        }
        Mistake::NonceRepeated => {
            let mut draw = || u16::try_from(life.dice.below(0x1_0000)).unwrap_or_default();
            let list: Vec<u16> = (0..6).map(|_| draw()).collect();
            life.record.used_dev_nonces = list.iter().rev().copied().collect();
            life.node.nonces = Nonces::Again(list);
        }
        Mistake::NonceRandom => {
            let last = u16::try_from(life.dice.between(60_000, 64_000)).unwrap_or(60_000);
            life.record.mac_version = Some(MacVersion::V1_0_4);
            life.record.last_dev_nonce = Some(last);
            life.served.last_nonce = Some(last);
            life.attempts_left = 5;
        }
        Mistake::JoinNonceBack => {
            let last = life.dice.between(300, 5_000);
            let next = life.dice.between(1, 200);
            life.node.last_join_nonce = Some(last);
            life.served.join_nonce = next - 1;
            life.record.next_join_nonce = Some(next);
            if let Some(firmware) = &mut life.firmware {
                firmware.last_join_nonce = Some(last);
            }
        }
        _ => return false,
    }
    true
}

fn radio(mistake: Mistake, life: &mut Life, ground: &Ground) -> bool {
    let plan = ground.plan;
    match mistake {
        Mistake::Unheard => {
            if let Some(firmware) = &mut life.firmware {
                firmware.log = vec![
                    "812.4 ms join request, attempt 1".into(),
                    "875.0 ms tx done".into(),
                    "31220.7 ms join request, attempt 2".into(),
                ];
            }
        }
        Mistake::PlansApart => {
            let own = ground.gateways.first().and_then(|g| g.sub_band).unwrap_or(1);
            let other = own % plan.sub_bands.max(2) + 1;
            if let Some(firmware) = &mut life.firmware {
                let mask = ChannelMask::from_channels(plan.sub_band_channels(other));
                firmware.channel_mask = Some(mask.padded(plan.mask_words()).words().to_vec());
            }
        }
        Mistake::AnotherRegion => {
            if let Some(other) = another_plan(plan, life.whim) {
                life.node.plan = other;
                life.node.asks_on = super::air::join_channels(other, None);
                life.join_rate = life.dice.pick(&join_rates(other));
            }
        }
        Mistake::UnlawfulJoinRate => life.asks_at = unlawful_join_rate(plan),
        Mistake::AllChannels => {
            if let Some(firmware) = &mut life.firmware {
                firmware.channel_mask = Some(ChannelMask::of_plan(plan).words().to_vec());
            }
            life.node.asks_on = uplink_channels(plan, None);
            life.terms.cf_list = None;
            life.attempts_left = 80;
            life.uplinks = 36;
        }
        Mistake::OneChannel => {
            life.attempts_left = 80;
            life.uplinks = 48;
        }
        Mistake::GatewayMisregistered => {
            for eui in &mut life.record.gateways {
                *eui = slipped_eui(*eui, life.whim);
            }
        }
        Mistake::FarGateway => {
            for (link, margin) in life.links.iter_mut().zip([165, 25]) {
                link.margin = margin;
            }
        }
        Mistake::WindowLate => {
            if let Some(firmware) = &mut life.firmware {
                firmware.log = window_log(life.whim);
            }
        }
        Mistake::TooLong => {
            life.record.downlink_dwell = Some(true);
            life.node.keeps_dwell = true;
            life.terms.cf_list = right_cf_list(plan, None);
            life.terms.second_window = false;
            life.join_rate = Some(2);
        }
        Mistake::InStep => life.jitters = false,
        Mistake::PowerRefused => life.terms.power_dbm = 27,
        _ => return false,
    }
    true
}

/// A console's words of three exchanges, each window late by the same.
fn window_log(whim: u32) -> Vec<String> {
    let off = 120 + whim % 1_800;
    let exchange = |n: u32| {
        let done = 900 + n * 30_000;
        let opens = done + 5_000 + off;
        [
            format!("{done}.0 ms tx done"),
            format!("{opens}.0 ms receive on RX1"),
            format!("{}.0 ms receive timeout", opens + 45),
            format!("{}.0 ms receive on RX2", opens + 1_000),
        ]
    };
    (0..3).flat_map(exchange).collect()
}

/// Returns a plan on whose channels no request fits the one given.
fn another_plan(plan: &Plan, whim: u32) -> Option<&'static Plan> {
    let apart = |other: &&&'static Plan| {
        other.common_name != plan.common_name
            && join_rates(other).iter().all(|dr| {
                let Some(m) = other.dr(Direction::Uplink, *dr) else { return false };
                super::air::join_channels(other, None).iter().all(|c| {
                    let fit = plan.join_fit(c.hz, m);
                    matches!(fit, JoinFit::OutOfBand | JoinFit::OffGrid { .. })
                })
            })
    };
    let others: Vec<&'static Plan> = Plan::all().iter().filter(apart).copied().collect();
    super::server::nth(&others, whim)
}

/// Adds the other nodes that some mistakes need.
pub(super) fn companions(
    seed: u64,
    probe: &Probe,
    life: &Life,
    ground: &Ground,
    out: &mut Vec<Life>,
) {
    if life.makes(Mistake::SharedIdentity) {
        let mut twin = life.clone();
        twin.dice = Dice::of(seed, "twin");
        twin.is_listed = false;
        twin.wakes_at += 40_000_000;
        for link in &mut twin.links {
            link.rssi -= 27;
        }
        if let Nonces::Counting(next) = &mut twin.node.nonces {
            *next += 400;
        }
        out.push(twin);
    }
    let another = |name: &str| {
        let mistakes = Vec::new();
        Life::new(seed, &Probe { name: name.into(), mistakes, ..probe.clone() }, ground)
    };
    if life.makes(Mistake::KeyOfAnother) {
        let mut other = another("probe-far");
        // Two labels exchanged: the node's key is on record for the other, and the other's for it.
        other.record.app_key =
            life.record.app_key.as_ref().map(|_| life.node.app_key.clone().into());
        other.record.nwk_key =
            life.record.nwk_key.as_ref().map(|_| life.node.nwk_key.clone().into());
        other.firmware = None;
        other.attempts_left = 0;
        out.push(other);
    }
    if life.makes(Mistake::InStep) {
        for (name, earlier) in [("probe-left", 3_000), ("probe-right", 2_000)] {
            let mut other = another(name);
            other.wakes_at = life.wakes_at;
            other.interval_us = life.interval_us;
            other.join_rate = life.join_rate;
            other.jitters = false;
            other.uplinks = 0;
            other.rejoins = 3;
            other.terms.second_window = life.terms.second_window;
            other.terms.takes_us = life.terms.takes_us - earlier;
            out.push(other);
        }
    }
}

impl Life {
    /// Returns what the roster says of the node in the end.
    pub(super) fn claims(&self) -> crate::roster::Node {
        let mut record = self.record.clone();
        let last = self.served.session.as_ref();
        if self.makes(Mistake::Ghost) || self.makes(Mistake::LateCopy) {
            record.dev_addr = last.map(|s| s.dev_addr);
        }
        if let (true, Some(last)) = (self.makes(Mistake::AppKeyStale), last) {
            record.dev_addr = Some(last.dev_addr);
            if let SessionKeys::V1_0 { nwk_s_key, .. } = &last.keys {
                record.nwk_s_key = Some(nwk_s_key.clone());
            }
            let earlier = self.served.earlier.last().and_then(|s| s.keys.app_s_key().cloned());
            record.app_s_key = earlier;
        }
        crate::roster::Node {
            name: self.name.clone(),
            firmware: self.firmware.clone(),
            record: Some(record),
            label: None,
        }
    }
}
