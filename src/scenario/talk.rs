//! A session in which the network changes settings: both sides, each with what it holds.
//!
//! | file | part |
//! |------|------|
//! | `radio` | settings in force, as one side has them |
//! | `ask` | what the network asks for |
//! | `speech` | what the node says, and how it obeys |
//! | `network` | what the server makes of an uplink, and where it sends |
//! | `wrong` | mistakes of either side |
//! | `rejoin` | Rejoin-Requests of 1.1 |

pub(super) mod ask;
mod network;
pub(super) mod radio;
mod rejoin;
mod speech;
mod wrong;

use std::collections::VecDeque;

use super::{
    air::OnAir,
    data,
    exchange::hear,
    gateway::Heard,
    life::{Ground, Life},
    node::Message,
};
use crate::{
    frame::{Direction, Frame, MacVersion},
    id::DevAddr,
    roster::Class,
};
use ask::Request;
use radio::Radio;

/// From one uplink to the next.
const INTERVAL_US: u64 = 75_000_000;
/// From a frame to its repetition.
const AGAIN_US: u64 = 9_000_000;
/// A confirmed uplink is sent so often at the most.
const TRIES: u8 = 3;

/// A session of a node and its network.
#[derive(Clone, Debug)]
pub(super) struct Talk {
    dev_addr: DevAddr,
    version: MacVersion,
    /// What the node holds.
    node: Radio,
    /// What the server takes it to hold.
    network: Radio,
    /// The node's answers that go out once.
    owed: Vec<Vec<u8>>,
    /// Those that it repeats until a downlink comes.
    sticky: Vec<Vec<u8>>,
    /// Counter of the confirmed downlink that the node acknowledges next.
    acks: Option<u32>,
    /// Uplinks of the node since it heard anything.
    silent: u32,
    /// What the network asks for yet.
    script: VecDeque<Request>,
    /// What it asked for last and waits for.
    asked: Option<Request>,
    /// Its answers to the node.
    answers: Vec<Vec<u8>>,
    /// Whether the server confirmed what the node announces.
    confirmed: bool,
    /// Whether the last uplink got to the server.
    came: bool,
    turn: u32,
}

impl Talk {
    fn begin(life: &mut Life, ground: &Ground) -> Option<Self> {
        let session = life.node.session.clone()?;
        let plan = life.node.plan;
        let asked_hz = life.asked_hz.unwrap_or(plan.rx2().freq_hz);
        let terms = &life.terms;
        let mut node = Radio {
            plan,
            rx_delay: terms.rx_delay,
            rx1_offset: terms.rx1_offset,
            rx2_rate: terms.rx2_rate,
            rx2_hz: plan.join_rx2(asked_hz).freq_hz,
            down_dwell: false,
            up_dwell: plan.dwell.uplink_ms > 0 && plan.dwell.downlink_ms == 0,
            channels: session.channels,
            off: Vec::new(),
            moved: std::collections::BTreeMap::new(),
            rate: 0,
            nb_trans: 1,
            duty: 0,
        };
        node.rate = life.dice.pick(&node.brisk_rates())?;
        let version = life.node.version;
        let gateway = ground.gateways.first()?;
        let by_1_1 = matches!(session.keys, crate::crypto::derive::SessionKeys::V1_1 { .. });
        let script = ask::by_chance(&node, version, gateway, &mut life.dice);
        let mut talk = Self {
            dev_addr: session.dev_addr,
            version,
            network: node.clone(),
            node,
            owed: Vec::new(),
            sticky: Vec::new(),
            acks: None,
            silent: 0,
            script: script.into(),
            asked: None,
            answers: Vec::new(),
            confirmed: !by_1_1,
            came: false,
            turn: 0,
        };
        wrong::begin(life, ground, &mut talk);
        Some(talk)
    }
}

/// Lets a node send one uplink, with all that follows from it.
pub(super) fn send(life: &mut Life, ground: &mut Ground) {
    let address = life.node.session.as_ref().map(|session| session.dev_addr);
    let held = life.talk.take().filter(|talk| Some(talk.dev_addr) == address);
    let Some(mut talk) = held.or_else(|| Talk::begin(life, ground).map(Box::new)) else {
        life.node.session = None;
        life.attempts_left = 0;
        return;
    };
    let starts = life.wakes_at;
    life.wakes_at += wrong::interval(life, &talk).unwrap_or(INTERVAL_US);
    life.wakes_at += u64::from(life.dice.below(4_000_000));
    ground.lasts = ground.lasts.max(life.wakes_at);
    if !rejoin::turn(life, ground, &mut talk, starts) {
        turn(life, ground, &mut talk, starts);
    }
    talk.turn += 1;
    life.talk = Some(talk);
}

fn turn(life: &mut Life, ground: &mut Ground, talk: &mut Talk, starts: u64) {
    if let Some(session) = life.node.session.clone() {
        data::reset(life, &session);
    }
    let message = speech::message(life, talk);
    talk.silent += 1;
    talk.came = false;
    let confirmed = message.ftype.is_confirmed();
    let times = if confirmed { TRIES.max(talk.node.nb_trans) } else { talk.node.nb_trans };
    for n in 0..times {
        let Some((channel, modulation)) = wrong::place(life, talk) else {
            if n == 0 {
                advance(life);
            }
            return;
        };
        let tx_dr = life.node.plan.dr_of(Direction::Uplink, modulation).unwrap_or_default();
        let frame = if n == 0 {
            life.node.uplink(&message, channel, tx_dr)
        } else {
            life.node.again(&message, channel, tx_dr)
        };
        let Some(frame) = frame else { return };
        let octets = Frame::Data(frame).build();
        let air = OnAir::new(octets, channel, modulation, starts + u64::from(n) * AGAIN_US);
        let heard = hear(life, ground, &air);
        let best = heard.iter().max_by_key(|h| (h.margin, std::cmp::Reverse(h.by))).copied();
        let Some(best) = best else { continue };
        if answered(life, ground, talk, &message, &best) {
            return;
        }
    }
}

/// A frame that is on no channel of the gateways: it counts, and nobody hears it.
fn advance(life: &mut Life) {
    if let Some(session) = &mut life.node.session {
        session.fcnt_up += 1;
        session.sent += 1;
    }
}

/// Lets the server answer; returns whether the node is done with this uplink.
fn answered(
    life: &mut Life,
    ground: &mut Ground,
    talk: &mut Talk,
    message: &Message,
    heard: &Heard,
) -> bool {
    let mut done = false;
    for (down, order) in network::hears(life, ground, talk, message, heard) {
        let Some(gateway) = ground.gateways.get_mut(heard.by) else { continue };
        wrong::busies(life, gateway, &order);
        let taken = gateway.take(&mut ground.tape, &order);
        let lost = life.lost_percent > 0 && life.dice.below(100) < life.lost_percent;
        if taken && !lost && speech::receives(life, talk, heard, &order) {
            done |= !message.ftype.is_confirmed() || down.fctrl.ack();
            speech::obey(life, talk, &down);
        }
    }
    done
}

/// Whether a life's talk is of class C.
const fn is_class_c(life: &Life) -> bool {
    matches!(life.record.class, Some(Class::C))
}
