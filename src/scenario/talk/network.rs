//! The server: what it makes of an uplink, what it sends, and where.

use super::{Talk, is_class_c, speech::Down, wrong};
use crate::{
    crypto::{
        block::{FOptsText, UplinkContext},
        derive::SessionKeys,
    },
    frame::{
        Direction, FCtrl, FType, Frame,
        command::{self, Command, FieldValue},
    },
    gps::GpsTime,
    intake::When,
    scenario::{
        Mistake,
        gateway::{Heard, Order},
        life::{Ground, Life},
        node::{Message, data_frame},
        tape::clock,
    },
};

/// FOpts hold so much. What the network asks for is in each downlink until it is answered.
const FOPTS: usize = 15;

/// Returns the downlinks that an uplink calls for.
pub(super) fn hears(
    life: &mut Life,
    ground: &Ground,
    talk: &mut Talk,
    message: &Message,
    heard: &Heard,
) -> Vec<(Down, Order)> {
    if wrong::is_mute(life) || life.served.session.is_none() {
        return Vec::new();
    }
    let fresh = !std::mem::replace(&mut talk.came, true);
    if fresh {
        read(life, talk, message, heard);
    } else if !message.ftype.is_confirmed() {
        return Vec::new();
    }
    let Some((down, port, payload)) = reply(life, talk, message, fresh) else { return Vec::new() };
    let message = Message {
        ftype: down.ftype,
        fctrl: down.fctrl,
        fopts: down.commands.clone(),
        port,
        payload,
        conf_fcnt: 0,
    };
    let Some((octets, fcnt)) = sealed(life, &message) else { return Vec::new() };
    let order = order(life, ground, talk, heard, octets);
    vec![(Down { fcnt, ..down }, order)]
}

/// Takes note of what the node answers and asks.
fn read(life: &mut Life, talk: &mut Talk, message: &Message, heard: &Heard) {
    let version = Some(talk.version);
    let said = command::decode(&message.fopts, Direction::Uplink, version).commands;
    let mut took: Option<bool> = None;
    for command in &said {
        match command.octets.first() {
            Some(0x02) => {
                let margin = u8::try_from(heard.margin / 10).unwrap_or_default();
                talk.answers.push(vec![0x02, margin, 1]);
            }
            Some(0x0D) => talk.answers.push(time(life, heard)),
            Some(0x0B) => talk.answers.push(vec![0x0B, 0x01]),
            Some(0x20) => talk.answers.push(vec![0x20, 0x02]),
            Some(0x10) => talk.answers.push(vec![0x10]),
            Some(cid) if asks(talk, *cid) => {
                took = Some(took.unwrap_or(true) && is_taken(command));
            }
            _ => {}
        }
    }
    let Some(took) = took else { return };
    let Some(asked) = talk.asked.take() else { return };
    if wrong::applies(life, took) {
        for octets in &asked {
            talk.network.obey(octets);
        }
    }
    if !took {
        // It asks again.
        talk.script.push_front(asked);
    }
}

fn asks(talk: &Talk, cid: u8) -> bool {
    let first = talk.asked.as_ref().and_then(|asked| asked.first()?.first().copied());
    first == Some(cid)
}

/// Whether every bit of an answer's status is 1.
fn is_taken(answer: &Command) -> bool {
    let refuses = |field: &command::Field| {
        field.spec.refusal.is_some() && field.value == FieldValue::Flag(false)
    };
    !answer.fields.iter().any(refuses)
}

/// DeviceTimeAns.
fn time(life: &Life, heard: &Heard) -> Vec<u8> {
    let at = clock(heard.ends);
    let gps = GpsTime::from_utc(at).map_or(0, GpsTime::seconds);
    let [a, b, c, d] = wrong::seconds(life, gps, at).to_le_bytes();
    let fraction = heard.ends % 1_000_000 * 256 / 1_000_000;
    vec![0x0D, a, b, c, d, u8::try_from(fraction).unwrap_or_default()]
}

/// Returns what the server sends, if anything.
fn reply(
    life: &mut Life,
    talk: &mut Talk,
    message: &Message,
    fresh: bool,
) -> Option<(Down, Option<u8>, Vec<u8>)> {
    let ack = message.ftype.is_confirmed() && !wrong::never_acks(life);
    let mut commands = Vec::new();
    if fresh {
        for answer in std::mem::take(&mut talk.answers) {
            if !wrong::keeps_back(life, &answer) && commands.len() + answer.len() <= FOPTS {
                commands.extend(answer);
            }
        }
        if talk.asked.is_none() && talk.turn > 0 && (wrong::is_eager(life) || life.dice.once_in(2))
        {
            talk.asked = talk.script.pop_front();
        }
        let asked = talk.asked.clone().unwrap_or_default().concat();
        if commands.len() + asked.len() <= FOPTS {
            commands.extend(asked);
        }
        wrong::notes(life, talk, &mut commands);
    }
    let owes = ack || message.fctrl.adr_ack_req() || !commands.is_empty() || wrong::is_eager(life);
    let says = fresh && (wrong::is_eager(life) || life.dice.once_in(3));
    if !owes && !says {
        return None;
    }
    let app = says && commands.len() < 8;
    let confirmed = app && (wrong::confirms(life) || life.dice.once_in(3));
    let down = Down {
        fctrl: FCtrl::new(if ack { 0x20 } else { 0 }),
        ftype: if confirmed { FType::ConfirmedDataDown } else { FType::UnconfirmedDataDown },
        fcnt: 0,
        commands,
    };
    let payload = if app { wrong::payload(life) } else { Vec::new() };
    Some((down, app.then_some(5), payload))
}

/// Returns a downlink of the session that the server has, encrypted and signed, and its counter.
fn sealed(life: &mut Life, message: &Message) -> Option<(Vec<u8>, u32)> {
    let node = life.node.session.as_ref()?.fcnt_up.wrapping_sub(1);
    let (stands, anew) = (life.makes(Mistake::DownlinkStands), wrong::address(life));
    let key = wrong::signs_with(life);
    let conf = wrong::conf_fcnt(life, node);
    let server = wrong::session(life)?;
    let counted = match server.keys {
        SessionKeys::V1_1 { .. } if message.port.is_some_and(|port| port > 0) => {
            &mut server.app_down
        }
        _ => &mut server.fcnt_down,
    };
    let fcnt = *counted;
    *counted += u32::from(!stands);
    let [lo, hi, ..] = conf.to_le_bytes();
    let conf_fcnt = if message.fctrl.ack() { u16::from_le_bytes([lo, hi]) } else { 0 };
    let context = UplinkContext { conf_fcnt, ..UplinkContext::default() };
    let address = (anew.unwrap_or(server.dev_addr), fcnt);
    let keys = key.unwrap_or_else(|| server.keys.clone());
    Some((
        Frame::Data(data_frame(&keys, address, message, FOptsText::Amended, context)).build(),
        fcnt,
    ))
}

fn order(life: &mut Life, ground: &Ground, talk: &Talk, heard: &Heard, octets: Vec<u8>) -> Order {
    let (rx1, rx2) = talk.network.windows(heard.hz, heard.modulation);
    let rx2 = rx2.unwrap_or_else(|| ground.plan.rx2());
    let second = life.terms.second_window || rx1.is_none() || wrong::takes_second(life, talk);
    let second = second && !wrong::takes_first(life) || rx1.is_none();
    let window = if second { rx2 } else { rx1.unwrap_or(rx2) };
    let delay = u64::from(talk.network.rx_delay) + u64::from(second);
    let delay = delay * 1_000_000;
    let mut order = Order {
        octets,
        when: When::Counter(heard.tmst.wrapping_add(u32::try_from(delay).unwrap_or_default())),
        slot: heard.ends + delay,
        hz: window.freq_hz,
        modulation: window.modulation,
        power_dbm: life.terms.power_dbm,
        inverted: true,
        arrives: heard.at + life.terms.takes_us,
    };
    if is_class_c(life) && wrong::sends_at_once(life) {
        order.when = When::Immediate;
        order.arrives += 20_000_000;
        order.slot = order.arrives;
        (order.hz, order.modulation) = (rx2.freq_hz, rx2.modulation);
    }
    wrong::orders(life, talk, heard, second, &mut order);
    order
}
