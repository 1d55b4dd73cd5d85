//! What the network asks for in the course of a session.

use super::radio::{Radio, octets};
use crate::{
    frame::{Direction, MacVersion},
    radio::Modulation,
    region::{Plan, PlanKind},
    scenario::{air::Channel, dice::Dice, gateway::Gateway},
};

/// A request, or several that go together: their octets, each from its CID on.
pub(in crate::scenario) type Request = Vec<Vec<u8>>;

/// Kinds of requests that a healthy network makes.
type Maker = fn(&Radio, MacVersion, &Gateway, &mut Dice) -> Option<Request>;

const MAKERS: [Maker; 9] = [
    receive_settings,
    receive_settings,
    receive_delay,
    downlink_channel,
    new_channel,
    link_adr,
    link_adr,
    duty_cycle,
    status,
];

/// Returns a few requests by chance, each of what the ones before have left.
pub(in crate::scenario) fn by_chance(
    radio: &Radio,
    version: MacVersion,
    gateway: &Gateway,
    dice: &mut Dice,
) -> Vec<Request> {
    let mut then = radio.clone();
    let mut out = Vec::new();
    if let Some(request) = limits(&then, version).filter(|_| dice.once_in(2)) {
        then.obey(request.first().map_or(&[], Vec::as_slice));
        out.push(request);
    }
    for _ in 0..dice.between(2, 5) {
        let Some(make) = dice.pick(&MAKERS) else { continue };
        let Some(request) = make(&then, version, gateway, dice) else { continue };
        for octets in &request {
            then.obey(octets);
        }
        out.push(request);
    }
    out
}

/// RXParamSetupReq.
pub(in crate::scenario) fn rx_param(offset: u8, rate: u8, hz: u32) -> Vec<u8> {
    let [a, b, c] = octets(hz);
    vec![0x05, offset << 4 | rate, a, b, c]
}

fn receive_settings(
    radio: &Radio,
    _: MacVersion,
    gateway: &Gateway,
    dice: &mut Dice,
) -> Option<Request> {
    let offset = dice.below(u32::from(radio.plan.rx1_offset_max.min(5)) + 1);
    let rate = dice.pick(&rx2_rates(radio))?;
    let hz = if dice.once_in(2) { radio.rx2_hz } else { another_rx2(radio, gateway, dice)? };
    Some(vec![rx_param(u8::try_from(offset).ok()?, rate, hz)])
}

/// The LoRa data rates that a downlink in RX2 may have.
pub(in crate::scenario) fn rx2_rates(radio: &Radio) -> Vec<u8> {
    let least = if radio.down_dwell { 2 } else { 0 };
    let lora =
        |dr: &u8| matches!(radio.plan.dr(Direction::Downlink, *dr), Some(Modulation::Lora { .. }));
    (least..16).filter(lora).filter(|dr| *dr < 14).collect()
}

/// A frequency for RX2 other than the one in force, that the gateway can send on.
pub(in crate::scenario) fn another_rx2(
    radio: &Radio,
    gateway: &Gateway,
    dice: &mut Dice,
) -> Option<u32> {
    let plan = radio.plan;
    let own: Vec<u32> = match plan.kind {
        PlanKind::Dynamic => radio.channels.iter().map(|channel| channel.hz).collect(),
        PlanKind::Fixed => (0..8).filter_map(|n| plan.downlink_frequency(n)).collect(),
    };
    let (low, high) = gateway.sends_hz;
    let other: Vec<u32> = own
        .into_iter()
        .filter(|hz| *hz != radio.rx2_hz && (low..=high).contains(hz) && hz % 100 == 0)
        .collect();
    dice.pick(&other)
}

fn receive_delay(radio: &Radio, _: MacVersion, _: &Gateway, dice: &mut Dice) -> Option<Request> {
    let delays: Vec<u8> = (1..=5).filter(|delay| *delay != radio.rx_delay).collect();
    Some(vec![vec![0x08, dice.pick(&delays)?]])
}

/// Whether a version has DlChannelReq and TXParamSetupReq.
fn has_later_commands(version: MacVersion) -> bool {
    version >= MacVersion::V1_0_2
}

fn downlink_channel(
    radio: &Radio,
    version: MacVersion,
    _: &Gateway,
    dice: &mut Dice,
) -> Option<Request> {
    if radio.plan.kind != PlanKind::Dynamic || !has_later_commands(version) {
        return None;
    }
    let channel = dice.pick(&radio.channels)?;
    let others: Vec<Channel> =
        radio.channels.iter().copied().filter(|other| other.hz != channel.hz).collect();
    let [a, b, c] = octets(dice.pick(&others)?.hz);
    Some(vec![vec![0x0A, u8::try_from(channel.number).ok()?, a, b, c]])
}

fn new_channel(
    radio: &Radio,
    _: MacVersion,
    gateway: &Gateway,
    dice: &mut Dice,
) -> Option<Request> {
    if radio.plan.kind != PlanKind::Dynamic {
        return None;
    }
    let unused = |hz: &u32| radio.channels.iter().all(|own| own.hz.abs_diff(*hz) > 100_000);
    let free: Vec<u32> = gateway.listens.iter().copied().filter(unused).collect();
    let index = radio.channels.iter().map(|own| own.number).max()? + 1;
    if index > 15 {
        return None;
    }
    Some(vec![new_channel_request(u8::try_from(index).ok()?, dice.pick(&free)?, 0, 5)])
}

/// NewChannelReq.
pub(in crate::scenario) fn new_channel_request(index: u8, hz: u32, low: u8, high: u8) -> Vec<u8> {
    let [a, b, c] = octets(hz);
    vec![0x07, index, a, b, c, high << 4 | low]
}

fn link_adr(radio: &Radio, _: MacVersion, _: &Gateway, dice: &mut Dice) -> Option<Request> {
    let rate = dice.pick(&radio.brisk_rates())?;
    let nb_trans = if dice.once_in(3) { 2 } else { 1 };
    Some(vec![link_adr_request(radio, rate, nb_trans)])
}

/// LinkADRReq with the channels that are on.
pub(in crate::scenario) fn link_adr_request(radio: &Radio, rate: u8, nb_trans: u8) -> Vec<u8> {
    let first = radio.open().map(|channel| channel.number / 16).min().unwrap_or_default();
    let mut bits = 0_u16;
    for channel in radio.open().filter(|channel| channel.number / 16 == first) {
        bits |= 1 << (channel.number % 16);
    }
    let [lo, hi] = bits.to_le_bytes();
    let cntl = u8::try_from(first).unwrap_or_default();
    vec![0x03, rate << 4 | 1, lo, hi, cntl << 4 | nb_trans]
}

#[expect(clippy::unnecessary_wraps, reason = "one of several that may have nothing to ask")]
fn duty_cycle(_: &Radio, _: MacVersion, _: &Gateway, _: &mut Dice) -> Option<Request> {
    Some(vec![vec![0x04, 0x00]])
}

#[expect(clippy::unnecessary_wraps, reason = "one of several that may have nothing to ask")]
fn status(_: &Radio, _: MacVersion, _: &Gateway, _: &mut Dice) -> Option<Request> {
    Some(vec![vec![0x06]])
}

/// TXParamSetupReq with the dwell time limits of a plan, where it has them and the version the command.
pub(in crate::scenario) fn limits(radio: &Radio, version: MacVersion) -> Option<Request> {
    let Plan { dwell, .. } = radio.plan;
    let known = dwell.tx_param_setup && dwell.uplink_ms > 0 && has_later_commands(version);
    let down = if dwell.downlink_ms > 0 { 0x20 } else { 0 };
    known.then(|| vec![vec![0x09, 0x10 | down | 5]])
}
