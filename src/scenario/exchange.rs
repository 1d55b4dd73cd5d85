//! One attempt to join: the request on the air, the accept, and whether the node takes it.

use super::{
    Mistake,
    air::{OnAir, join_place},
    gateway::{Heard, Order, Reception},
    life::{Ground, Life},
    server,
};
use crate::{
    frame::{Direction, Frame, JoinRequest},
    intake::When,
    radio::time_on_air,
};

/// Lets a node ask once.
pub(super) fn ask(life: &mut Life, ground: &mut Ground) {
    life.attempts_left = life.attempts_left.saturating_sub(1);
    let mut request = life.node.request(&mut life.dice);
    let place = life.asks_at.or_else(|| {
        let (plan, channels) = (life.node.plan, &life.node.asks_on);
        join_place(plan, channels, life.join_rate?, &mut life.dice)
    });
    let Some((channel, modulation)) = place else { return };
    life.asked_hz = Some(channel.hz);
    let octets = on_the_air(life, &mut request);
    let air = OnAir::new(octets, channel, modulation, life.wakes_at);
    first_time(life, ground, &air);
    let heard = hear(life, ground, &air);
    for (heard, order) in answers(life, ground, &request, &heard) {
        let taken = ground
            .gateways
            .get_mut(heard.by)
            .is_some_and(|gateway| gateway.take(&mut ground.tape, &order));
        if taken && life.node.session.is_none() && receives(life, ground, &heard, &order) {
            let sub_band = ground.gateways.get(heard.by).and_then(|g| g.sub_band);
            life.node.join(request.dev_nonce, &order.octets, sub_band);
        }
    }
    life.served.before = Some(request);
    life.wait();
    if life.node.session.is_some() && life.uplinks > 0 {
        life.wakes_at = air.ends + 15_000_000 + u64::from(life.dice.below(5_000_000));
    }
}

/// Returns the request's octets, its length wrong where that is the mistake.
fn on_the_air(life: &Life, request: &mut JoinRequest) -> Vec<u8> {
    if !life.makes(Mistake::LongRequest) {
        return Frame::JoinRequest(request.clone()).build();
    }
    if life.whim.is_multiple_of(2) {
        request.surplus = vec![0];
        return Frame::JoinRequest(request.clone()).build();
    }
    let mut octets = Frame::JoinRequest(request.clone()).build();
    request.surplus = vec![0];
    octets.pop();
    octets
}

/// What happens to a gateway at the first request of a life.
fn first_time(life: &mut Life, ground: &mut Ground, air: &OnAir) {
    let Some(gateway) = ground.gateways.first_mut() else { return };
    if life.makes(Mistake::WrapMishandled) && gateway.minds_the_wrap {
        gateway.minds_the_wrap = false;
        // The counter wraps two seconds after the request.
        gateway.counts_from = ((1 << 32) - 2_000_000u64).wrapping_sub(air.ends) & 0xFFFF_FFFF;
    }
    if life.makes(Mistake::GatewayRestarts) && gateway.restarts_at.is_none() {
        gateway.restarts_at = Some(air.ends + gateway.latency_us + 50_000);
    }
}

/// Puts a frame on the tape for every gateway that receives it.
pub(super) fn hear(life: &mut Life, ground: &mut Ground, air: &OnAir) -> Vec<Heard> {
    let mut out = Vec::new();
    if life.makes(Mistake::Unheard) || life.makes(Mistake::PlansApart) {
        return out;
    }
    if life.lost_percent > 0 && life.dice.below(100) < life.lost_percent {
        return out;
    }
    let whim = life.whim;
    let is_join = life.node.session.is_none();
    for (by, gateway) in ground.gateways.iter_mut().enumerate() {
        let Some(link) = life.links.get(by).copied() else { continue };
        if life.heard_by.is_some_and(|only| usize::from(only) != by) {
            continue;
        }
        if !gateway.listens.is_empty() && !gateway.listens.contains(&air.hz) {
            continue;
        }
        let mut reception = Reception { hz: air.hz, stat: 1, skew_us: 0, delay_us: 0 };
        if life.makes(Mistake::InexactFrequency) {
            let off = whim % 800 + 13;
            reception.hz = if whim.is_multiple_of(3) { air.hz - off } else { air.hz + off };
        }
        if life.makes(Mistake::LateCopy) && by > 0 && is_join {
            reception.delay_us = 2_200_000 + u64::from(whim % 1_500_000);
        }
        let mut link = link;
        if life.makes(Mistake::DamagedOnAir) {
            reception.stat = -1;
            let mut damaged = air.clone();
            damaged.octets.iter_mut().for_each(|o| *o ^= u8::try_from(whim % 255).unwrap_or(1));
            gateway.report(&mut ground.tape, by, &damaged, link, reception);
            continue;
        }
        // The node stands beside the first gateway.
        let is_ghostly = life.makes(Mistake::Ghost) && is_join && by == 0;
        if is_ghostly {
            link.rssi = -22;
        }
        out.push(gateway.report(&mut ground.tape, by, air, link, reception));
        let other = life.node.asks_on.iter().find(|c| c.hz != air.hz);
        if let (true, Some(other)) = (is_ghostly, other) {
            let ghost =
                Reception { hz: other.hz, skew_us: whim % 9 + 1, delay_us: 800, ..reception };
            let weak = super::gateway::Link { rssi: -68, margin: link.margin - 90 };
            out.push(gateway.report(&mut ground.tape, by, air, weak, ghost));
        }
    }
    out
}

/// Returns what the server sends in answer, and through which reception.
fn answers(
    life: &mut Life,
    ground: &Ground,
    request: &JoinRequest,
    heard: &[Heard],
) -> Vec<(Heard, Order)> {
    let Some(best) = chosen(life, heard) else { return Vec::new() };
    if !server::takes(life, ground, request, &best) {
        return Vec::new();
    }
    let mut out = Vec::new();
    let mut answer = |life: &mut Life, heard: Heard| {
        let Some(octets) = server::accept(life, request) else { return };
        if !life.terms.both_windows {
            out.push((heard, server::order(life, ground, &heard, octets)));
            return;
        }
        for second in [false, true] {
            life.terms.second_window = second;
            let mut order = server::order(life, ground, &heard, octets.clone());
            order.arrives += if second { 100_000 } else { 0 };
            out.push((heard, order));
        }
    };
    answer(life, best);
    if let Some(copy) = heard.iter().rfind(|h| is_copy(life, h)) {
        // Taken for a new request; RX2, as the first accept holds RX1.
        let second = life.terms.second_window;
        life.terms.second_window = !second;
        answer(life, *copy);
        life.terms.second_window = second;
    }
    out
}

/// Whether a reception is the copy that the mistake is about.
fn is_copy(life: &Life, heard: &Heard) -> bool {
    let late = life.makes(Mistake::LateCopy) && heard.by > 0;
    late || life.makes(Mistake::Ghost) && heard.by == 0
}

/// Returns the reception through which the server answers.
fn chosen(life: &Life, heard: &[Heard]) -> Option<Heard> {
    let by_margin = |h: &&Heard| (h.margin, std::cmp::Reverse(h.by));
    let known = heard.iter();
    if life.makes(Mistake::FarGateway) {
        known.min_by_key(by_margin).copied()
    } else {
        known.max_by_key(by_margin).copied()
    }
}

/// Whether an accept on the air reaches the node's open receiver.
fn receives(life: &Life, ground: &Ground, heard: &Heard, order: &Order) -> bool {
    let ears = [Mistake::Deaf, Mistake::WindowLate, Mistake::FarGateway];
    if ears.iter().any(|m| life.makes(*m)) || !order.inverted {
        return false;
    }
    let plan = ground.plan;
    // The node's own channel: a ghost's window is nowhere.
    let delay = match order.when {
        When::Counter(slot) => slot.wrapping_sub(heard.tmst),
        _ => u32::try_from(order.slot - heard.ends).unwrap_or_default(),
    };
    let window = match delay {
        5_000_000 => plan.join_rx1(heard.hz, heard.modulation),
        6_000_000 => Some(plan.join_rx2(heard.hz)),
        _ => None,
    };
    let air = time_on_air(order.modulation, order.octets.len(), Direction::Downlink);
    let limit = u128::from(plan.dwell.downlink_ms);
    let too_long = life.node.keeps_dwell && air.is_some_and(|air| air.as_millis() >= limit);
    !too_long && window.is_some_and(|w| (w.freq_hz, w.modulation) == (order.hz, order.modulation))
}
