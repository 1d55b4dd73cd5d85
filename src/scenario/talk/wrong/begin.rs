//! What a mistake changes when a session begins.

use super::super::{Talk, ask};
use crate::{
    frame::Direction,
    region::{DefaultChannels, PlanKind},
    scenario::{
        Mistake,
        air::{Channel, microseconds},
        life::{Ground, Life},
    },
};

/// A frame of a node has some such length.
const USUAL_OCTETS: usize = 30;

/// Changes a session as one of its mistakes wants it.
pub(in crate::scenario::talk) fn begin(life: &mut Life, ground: &Ground, talk: &mut Talk) {
    for mistake in life.mistakes.clone() {
        if mistake.is_of_talk() {
            talk.script.clear();
        }
        asks(mistake, life, ground, talk);
        holds(mistake, life, talk);
    }
}

/// What the network asks for.
fn asks(mistake: Mistake, life: &mut Life, ground: &Ground, talk: &mut Talk) {
    let radio = &talk.node;
    let plan = radio.plan;
    let script = &mut talk.script;
    match mistake {
        Mistake::AdrTooFar => {
            let rates = radio.rates();
            let (low, high) = (rates.first().copied(), rates.last().copied());
            talk.node.rate = low.unwrap_or_default();
            let request = ask::link_adr_request(&talk.node, high.unwrap_or_default(), 1);
            script.push_back(vec![request]);
            life.links.iter_mut().for_each(|link| link.margin = 110);
        }
        Mistake::NotApplied => {
            let rates = radio.rates();
            let other = rates.into_iter().find(|rate| *rate != radio.rate);
            script.push_back(vec![ask::link_adr_request(radio, other.unwrap_or_default(), 1)]);
        }
        Mistake::MaskAway => {
            let own = ground.gateways.first().and_then(|gateway| gateway.sub_band).unwrap_or(1);
            let other = if own == 1 { 2 } else { 1 };
            let bits: u16 = if other == 1 { 0x00FF } else { 0xFF00 };
            let [lo, hi] = bits.to_le_bytes();
            let rate = radio.rate << 4;
            script.push_back(vec![vec![0x03, rate, 0, 0, 0x71], vec![0x03, rate, lo, hi, 0x01]]);
        }
        Mistake::DutyCommand => script.push_back(vec![vec![0x04, 0x0C]]),
        Mistake::RateRefused => {
            let none = |dr: &u8| plan.dr(Direction::Uplink, *dr).is_none();
            let rate = (0..15).rfind(none).unwrap_or(14);
            script.push_back(vec![ask::link_adr_request(radio, rate, 1)]);
        }
        Mistake::AdrPowerRefused | Mistake::AdrOff => {
            script.push_back(vec![ask::link_adr_request(radio, radio.rate, 1)]);
        }
        Mistake::BlockAnswers => {
            let request = ask::link_adr_request(radio, radio.rate, 1);
            script.extend((0..6).map(|_| vec![request.clone(), request.clone()]));
        }
        Mistake::ChannelRefused => {
            let index = radio.channels.iter().map(|own| own.number).max().unwrap_or(7) + 1;
            let hz = plan.range_hz.1 + 3_000_000;
            let index = u8::try_from(index).unwrap_or(8);
            script.push_back(vec![ask::new_channel_request(index, hz, 0, 5)]);
        }
        Mistake::NoAnswer => script.push_back(vec![vec![0x06]]),
        Mistake::OldSettings | Mistake::NotHeld | Mistake::ReceiveRefused => {
            let rates = ask::rx2_rates(radio);
            let others: Vec<u8> = rates.into_iter().filter(|dr| *dr != radio.rx2_rate).collect();
            let rate = life.dice.pick(&others).unwrap_or_default();
            script.push_back(vec![ask::rx_param(radio.rx1_offset, rate, radio.rx2_hz)]);
        }
        Mistake::DownlinkTooLong | Mistake::UplinkTooLong => {
            script.extend(ask::limits(radio, talk.version));
        }
        _ => {}
    }
}

/// What one of both holds from the beginning, and the other does not.
fn holds(mistake: Mistake, life: &mut Life, talk: &mut Talk) {
    let plan = talk.node.plan;
    match mistake {
        Mistake::OffsetForgotten => {
            let offset = talk.node.rx1_offset;
            let felt = |dr: &u8| plan.rx1_dr(*dr, offset, false) != plan.rx1_dr(*dr, 0, false);
            let rates: Vec<u8> = talk.node.rates().into_iter().filter(felt).collect();
            talk.node.rate = life.dice.pick(&rates).unwrap_or(talk.node.rate);
            talk.network.rx1_offset = 0;
        }
        Mistake::RecordUsed => {
            talk.network.rx2_rate = life.record.rx2_data_rate.unwrap_or_default();
        }
        Mistake::ChannelNotGiven => {
            let hz = unused(talk);
            let number = talk.node.channels.iter().map(|own| own.number).max().unwrap_or_default();
            talk.node.channels.push(Channel::new(number + 1, hz, 0, 5));
        }
        Mistake::RateNotGiven => talk.node.rate = 6,
        Mistake::DownlinkTooLong => talk.node.rate = 2,
        Mistake::DutyExceeded => talk.node.rate = 0,
        Mistake::FewChannels => {
            let all: Vec<u16> = talk.node.channels.iter().map(|own| own.number).collect();
            let used = talk.node.channels.iter().find(|own| own.takes(talk.node.rate));
            let used = used.map(|own| own.number);
            talk.node.off = all.into_iter().filter(|number| Some(*number) != used).collect();
        }
        _ => {}
    }
}

/// A frequency of a dynamic plan that is no channel of anybody.
fn unused(talk: &Talk) -> u32 {
    let plan = talk.node.plan;
    let (low, high) = plan.centre_range_hz.unwrap_or(plan.range_hz);
    let listed = match plan.default_channels {
        DefaultChannels::Listed(list) => list.first().map(|channel| channel.freq_hz),
        DefaultChannels::AllUplink(_) => None,
    };
    debug_assert!(plan.kind == PlanKind::Dynamic, "fixed plans have no further channels");
    let first = listed.unwrap_or(low);
    let grid = (0..40).map(|n| first + 200_000 * n).chain((1..40).map(|n| first - 200_000 * n));
    let apart = |hz: &u32| {
        (low + 100_000..high.saturating_sub(100_000)).contains(hz)
            && talk.node.channels.iter().all(|own| own.hz.abs_diff(*hz) > 150_000)
    };
    grid.into_iter().find(apart).unwrap_or(first + 100_000)
}

/// From one uplink to the next, where it is not as usual.
pub(in crate::scenario::talk) fn interval(life: &Life, talk: &Talk) -> Option<u64> {
    let modulation = talk.node.plan.dr(Direction::Uplink, talk.node.rate)?;
    if life.makes(Mistake::DutyExceeded) {
        return Some(25_000_000);
    }
    let air = microseconds(modulation, USUAL_OCTETS, Direction::Uplink);
    (talk.node.duty > 0).then(|| (air << talk.node.duty).max(super::super::INTERVAL_US))
}
