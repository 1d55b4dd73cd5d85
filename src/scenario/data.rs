//! Data of a session: uplinks, and what the server sends after some of them.

use super::{
    Mistake,
    air::{OnAir, data_place},
    exchange::hear,
    gateway::{Heard, Order},
    life::{Ground, Life},
    node::{Message, Session, data_frame},
    server::nth,
};
use crate::{
    crypto::{
        block::{FOptsText, UplinkContext},
        derive::SessionKeys,
    },
    frame::{Direction, FCtrl, FType, Frame},
    intake::When,
    region::Window,
};

/// What a soil probe says: a channel and a kind that stay, then moisture and temperature.
pub(super) const HEAD: [u8; 2] = [0x01, 0x67];
/// Milliseconds of GPS time at the start of the world, near enough.
pub(super) const GPS_MS: u64 = 1_459_924_218_000;

/// Whether a mistake is made by a network that changes no settings.
pub(super) fn makes(mistake: Mistake) -> bool {
    let here = [
        Mistake::ClassCRate,
        Mistake::CommandsTwice,
        Mistake::DelayForgotten,
        Mistake::DownlinkBack,
        Mistake::FOptsAsPublished,
        Mistake::MaskRefused,
        Mistake::NoGps,
    ];
    here.contains(&mistake)
}

/// Lets a node send one data frame.
pub(super) fn send(life: &mut Life, ground: &mut Ground) {
    let Some(session) = life.node.session.clone() else { return };
    life.wakes_at += 60_000_000 + u64::from(life.dice.below(4_000_000));
    reset(life, &session);
    let Some(session) = life.node.session.clone() else { return };
    let message = message(life, &session);
    let place = data_place(life.node.plan, &session.channels, &mut life.dice);
    let starts = life.wakes_at - 60_000_000;
    let Some((channel, modulation)) = place else {
        // No channel left to it: it counts, and nothing is on the air.
        advance(life);
        return;
    };
    let tx_dr = life.node.plan.dr_of(Direction::Uplink, modulation).unwrap_or_default();
    let Some(frame) = life.node.uplink(&message, channel, tx_dr) else { return };
    let confirmed = message.ftype.is_confirmed();
    let octets = Frame::Data(frame).build();
    let air = OnAir::new(octets, channel, modulation, starts);
    let heard = hear(life, ground, &air);
    let Some(best) = heard.iter().max_by_key(|h| (h.margin, std::cmp::Reverse(h.by))) else {
        return;
    };
    // Whose MIC fails gets no answer.
    let misread = life.makes(Mistake::MisreadDerivation) || life.makes(Mistake::IgnoresFallback);
    if life.served.session.is_some() && !misread {
        answer(life, ground, best, &session, confirmed);
    }
}

fn advance(life: &mut Life) {
    if let Some(session) = &mut life.node.session {
        session.fcnt_up += 1;
        session.sent += 1;
    }
}

/// A node that forgets its counter, or the upper half of it.
pub(super) fn reset(life: &mut Life, session: &Session) {
    let anew = [Mistake::CounterRestarted, Mistake::CountsAnew];
    let forgets = session.sent == 3 && anew.iter().any(|mistake| life.makes(*mistake));
    let leaps = session.sent == 3 && life.makes(Mistake::CounterLeaps);
    let halves = life.makes(Mistake::UpperHalfLost) && life.whim.is_multiple_of(2);
    let Some(own) = &mut life.node.session else { return };
    if forgets {
        own.fcnt_up = 0;
    }
    if leaps {
        own.fcnt_up += 20_000;
    }
    if halves && own.fcnt_up > 0xFFFF {
        own.fcnt_up &= 0xFFFF;
    }
}

fn message(life: &mut Life, session: &Session) -> Message {
    let mut payload = HEAD.to_vec();
    let value = life.dice.below(0x1_0000);
    payload.extend(u16::try_from(value).unwrap_or_default().to_be_bytes());
    payload.extend((0..life.dice.below(4)).map(|n| u8::try_from(n).unwrap_or_default()));
    let confirmed = life.dice.once_in(5);
    let mut message = Message {
        ftype: if confirmed { FType::ConfirmedDataUp } else { FType::UnconfirmedDataUp },
        fctrl: FCtrl::new(0x80),
        fopts: Vec::new(),
        port: Some(2),
        payload,
        conf_fcnt: 0,
    };
    if matches!(session.keys, SessionKeys::V1_1 { .. }) && session.sent == 0 {
        // RekeyInd, until the server confirms it.
        message.fopts = vec![0x0B, 0x01];
    }
    if life.makes(Mistake::FOptsAsPublished) {
        // DevStatusAns, LinkCheckReq, DeviceTimeReq, PingSlotInfoReq.
        let others = [0x06, 0xFF, 0x05, 0x02, 0x0D, 0x10, 0x00];
        message.fopts.extend(others);
        if session.sent == 0 {
            message.payload.clear();
            message.port = None;
        }
        // The slowest rate of a fixed plan carries a MACPayload of 19 octets.
        message.payload.truncate(4);
    }
    if life.makes(Mistake::CommandsTwice) && session.sent > 0 {
        message.fopts = vec![0x02];
        message.port = Some(0);
        message.payload = vec![0x06, 0xFF, 0x05];
    }
    if life.served.refused_masks > 0 {
        // LinkADRAns: the mask is refused, rate and power would do.
        message.fopts = vec![0x03, 0x06];
        life.served.refused_masks = 0;
    }
    message
}

/// What the server sends after an uplink, and when.
struct Reply {
    message: Message,
    /// At once, in the node's second window, which is always open.
    class_c: bool,
    gps: bool,
}

fn reply(life: &mut Life, session: &Session, confirmed: bool) -> Option<Reply> {
    let chatty = [
        Mistake::DelayForgotten,
        Mistake::ClassCRate,
        Mistake::NoGps,
        Mistake::MaskRefused,
        Mistake::DownlinkBack,
    ];
    let owes = chatty.iter().any(|m| life.makes(*m));
    if !owes && !confirmed && !life.dice.once_in(3) {
        return None;
    }
    let mut message = Message {
        ftype: FType::UnconfirmedDataDown,
        fctrl: FCtrl::new(if confirmed { 0x20 } else { 0 }),
        fopts: Vec::new(),
        port: None,
        payload: Vec::new(),
        conf_fcnt: 0,
    };
    if !confirmed || life.dice.once_in(2) {
        message.port = Some(5);
        message.payload = vec![0x10, 0x02];
    }
    if matches!(session.keys, SessionKeys::V1_1 { .. }) && session.sent == 0 {
        // RekeyConf.
        message.fopts = vec![0x0B, 0x01];
        message.port = None;
        message.payload.clear();
    }
    if life.makes(Mistake::MaskRefused) {
        // LinkADRReq: data rate 2, power 1, channels 8 to 15, which the node does not have.
        message.fopts = vec![0x03, 0x21, 0x00, 0xFF, 0x01];
        message.port = None;
        message.payload.clear();
        life.served.refused_masks += 1;
    }
    Some(Reply {
        message,
        class_c: life.makes(Mistake::ClassCRate),
        gps: life.makes(Mistake::NoGps),
    })
}

fn answer(life: &mut Life, ground: &mut Ground, heard: &Heard, session: &Session, confirmed: bool) {
    let Some(reply) = reply(life, session, confirmed) else { return };
    let Some(octets) = sealed(life, session, &reply.message) else { return };
    let order = order(life, ground, heard, octets, &reply);
    if let Some(gateway) = ground.gateways.get_mut(heard.by) {
        gateway.take(&mut ground.tape, &order);
    }
}

/// Returns a downlink of the session that the server has, encrypted and signed.
pub(super) fn sealed(life: &mut Life, uplink: &Session, message: &Message) -> Option<Vec<u8>> {
    let restarts =
        life.makes(Mistake::DownlinkBack) && life.whim.is_multiple_of(2) && uplink.sent == 3;
    let server = life.served.session.as_mut()?;
    let counted = match server.keys {
        SessionKeys::V1_1 { .. } if message.port.is_some_and(|p| p > 0) => &mut server.app_down,
        _ => &mut server.fcnt_down,
    };
    if restarts {
        *counted = 0;
    }
    let fcnt = *counted;
    *counted += 1;
    let [lo, hi, ..] = uplink.fcnt_up.to_le_bytes();
    let acked = message.fctrl.ack();
    let conf_fcnt = if acked { u16::from_le_bytes([lo, hi]) } else { 0 };
    let context = UplinkContext { conf_fcnt, ..UplinkContext::default() };
    let (address, text) = ((server.dev_addr, fcnt), FOptsText::Amended);
    Some(Frame::Data(data_frame(&server.keys, address, message, text, context)).build())
}

fn order(life: &Life, ground: &Ground, heard: &Heard, octets: Vec<u8>, reply: &Reply) -> Order {
    let plan = ground.plan;
    let terms = &life.terms;
    let rx2 = rx2_of(life, ground, heard);
    let rx1 = plan.rx1(heard.hz, heard.modulation, terms.rx1_offset, false).unwrap_or(rx2);
    let given = if life.makes(Mistake::DelayForgotten) { 1 } else { u64::from(terms.rx_delay) };
    let (window, delay) = if terms.second_window { (rx2, given + 1) } else { (rx1, given) };
    let delay = delay * 1_000_000;
    let arrives = heard.at + terms.takes_us;
    let mut order = Order {
        octets,
        when: When::Counter(heard.tmst.wrapping_add(u32::try_from(delay).unwrap_or_default())),
        slot: heard.ends + delay,
        hz: window.freq_hz,
        modulation: window.modulation,
        power_dbm: terms.power_dbm,
        inverted: true,
        arrives,
    };
    if reply.class_c {
        let others: Vec<_> = (0..7)
            .filter_map(|dr| plan.dr(Direction::Downlink, dr))
            .filter(|m| *m != rx2.modulation)
            .collect();
        order.when = When::Immediate;
        order.arrives += 9_000_000;
        order.slot = order.arrives;
        order.hz = rx2.freq_hz;
        order.modulation = nth(&others, life.whim).unwrap_or(rx2.modulation);
    }
    if reply.gps {
        order.slot = order.arrives + 8_000_000;
        order.when = When::Gps(GPS_MS + order.slot / 1_000);
    }
    order
}

/// RX2 of the session: the region's frequency, the accept's data rate.
fn rx2_of(life: &Life, ground: &Ground, heard: &Heard) -> Window {
    let plan = ground.plan;
    let default = plan.rx2();
    let joined = plan.join_rx2(life.asked_hz.unwrap_or(heard.hz));
    let modulation = plan.dr(Direction::Downlink, life.terms.rx2_rate);
    Window {
        freq_hz: joined.freq_hz,
        modulation: modulation.unwrap_or(default.modulation),
        ..default
    }
}
