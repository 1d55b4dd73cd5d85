//! Mistakes of the server, and of what stands between it and the node.

use jiff::Timestamp;

use super::super::Talk;
use crate::{
    crypto::derive::SessionKeys,
    frame::{Direction, MacVersion, beacon},
    gps::GpsTime,
    id::DevAddr,
    intake::When,
    radio::Modulation,
    region::{Plan, PlanKind},
    roster::Class,
    scenario::{
        Mistake,
        air::microseconds,
        data::GPS_MS,
        gateway::{Gateway, Heard, Order},
        life::Life,
        node::Session,
        server::{nth, unruled_rate},
    },
};

/// Seconds between 1970 and the beginning of GPS time.
const GPS_EPOCH: i64 = 315_964_800;

fn makes_one(life: &Life, all: &[Mistake]) -> bool {
    all.iter().any(|mistake| life.makes(*mistake))
}

/// Whether the server drops what the node sends.
pub(in crate::scenario::talk) fn is_mute(life: &Life) -> bool {
    let all = [
        Mistake::NeverAcks,
        Mistake::AdrAckIgnored,
        Mistake::RekeyMissing,
        Mistake::AddressTyped,
        Mistake::SessionKeyTyped,
        Mistake::SessionKeysSwapped,
        Mistake::SessionKeyUnrelated,
    ];
    let leapt = life.makes(Mistake::CounterLeaps)
        && life.node.session.as_ref().is_some_and(|session| session.fcnt_up > 10_000);
    makes_one(life, &all) || leapt
}

/// Whether the server has something to say after each uplink.
pub(in crate::scenario::talk) fn is_eager(life: &Life) -> bool {
    let calm = [
        Mistake::ThinMargin,
        Mistake::DutyCommand,
        Mistake::DutyExceeded,
        Mistake::FewChannels,
        Mistake::PortZero,
        Mistake::ChannelNotGiven,
        Mistake::RateNotGiven,
        Mistake::CounterLeaps,
        Mistake::AckMissing,
    ];
    life.mistakes.iter().any(|mistake| mistake.is_of_talk() && !calm.contains(mistake))
}

/// Whether its downlinks ask for an acknowledgement.
pub(in crate::scenario::talk) fn confirms(life: &Life) -> bool {
    makes_one(life, &[Mistake::DataDeaf, Mistake::WrongClass, Mistake::NoAnswer])
}

pub(in crate::scenario::talk) fn never_acks(life: &Life) -> bool {
    life.makes(Mistake::AckMissing)
}

/// Whether an answer to the node is not given.
pub(in crate::scenario::talk) fn keeps_back(life: &Life, answer: &[u8]) -> bool {
    let own = [
        (Mistake::RequestIgnored, 0x02),
        (Mistake::RekeyIgnored, 0x0B),
        (Mistake::IndicationIgnored, 0x20),
    ];
    own.iter().any(|(mistake, cid)| life.makes(*mistake) && answer.first() == Some(cid))
}

/// Whether the server goes by what it asked for, when the node took it or not.
pub(in crate::scenario::talk) fn applies(life: &Life, took: bool) -> bool {
    (took || life.makes(Mistake::NotHeld)) && !life.makes(Mistake::OldSettings)
}

/// What DeviceTimeAns says.
pub(in crate::scenario::talk) fn seconds(life: &Life, gps: u32, at: Timestamp) -> u32 {
    let unix = u32::try_from(at.as_second()).unwrap_or_default();
    if life.makes(Mistake::TimeOfUnix) {
        unix
    } else if life.makes(Mistake::TimeOfUtc) {
        u32::try_from(i64::from(unix) - GPS_EPOCH).unwrap_or_default()
    } else {
        gps
    }
}

/// Commands beside those of the script.
pub(in crate::scenario::talk) fn notes(life: &Life, talk: &Talk, commands: &mut Vec<u8>) {
    for mistake in &life.mistakes {
        match mistake {
            // DlChannelReq, RejoinParamSetupReq.
            Mistake::UnknownCommand if talk.version < MacVersion::V1_0_2 => {
                commands.extend([0x0A, 0x00, 0x18, 0x4F, 0x84]);
            }
            Mistake::UnknownCommand => commands.extend([0x0F, 0x11]),
            // ForceRejoinReq: at once, type 0, the node's data rate.
            Mistake::ForceRejoinIgnored if talk.turn % 2 == 1 => {
                commands.extend([0x0E, talk.node.rate, 0x00]);
            }
            _ => {}
        }
    }
}

/// What the application sends down.
pub(in crate::scenario::talk) fn payload(life: &Life) -> Vec<u8> {
    let long = life.makes(Mistake::DownlinkTooLong);
    if long { vec![0x2A; 60] } else { vec![0x10, 0x02] }
}

/// The address that downlinks carry, where it is not the node's.
pub(in crate::scenario::talk) fn address(life: &Life) -> Option<DevAddr> {
    let own = life.served.session.as_ref()?.dev_addr;
    life.makes(Mistake::AnotherAddress).then_some(DevAddr(own.0 ^ 0x0000_1400))
}

/// The keys that sign downlinks, where they are not the node's.
pub(in crate::scenario::talk) fn signs_with(life: &mut Life) -> Option<SessionKeys> {
    if !life.makes(Mistake::AnotherKey) {
        return None;
    }
    let mut keys = life.served.session.as_ref()?.keys.clone();
    let other = life.dice.key();
    match &mut keys {
        SessionKeys::V1_0 { nwk_s_key, .. } => *nwk_s_key = other.into(),
        SessionKeys::V1_1 { s_nwk_s_int_key, .. } => *s_nwk_s_int_key = other.into(),
    }
    Some(keys)
}

/// The counter of the uplink that a downlink acknowledges, as its MIC has it.
pub(in crate::scenario::talk) fn conf_fcnt(life: &Life, node: u32) -> u32 {
    if life.makes(Mistake::ConfWrong) { node + 1 } else { node }
}

/// The session that the server goes by.
pub(in crate::scenario::talk) fn session(life: &mut Life) -> Option<&mut Session> {
    if life.makes(Mistake::OldSession) && !life.served.earlier.is_empty() {
        return life.served.earlier.last_mut();
    }
    life.served.session.as_mut()
}

/// Whether a downlink goes out in RX2.
pub(in crate::scenario::talk) fn takes_second(life: &mut Life, _: &Talk) -> bool {
    let all = [
        Mistake::DataRx2Frequency,
        Mistake::DataRx2Rate,
        Mistake::OldSettings,
        Mistake::NotHeld,
        Mistake::RecordUsed,
    ];
    makes_one(life, &all) || life.dice.once_in(4)
}

/// Whether a downlink goes out in RX1.
pub(in crate::scenario::talk) fn takes_first(life: &Life) -> bool {
    let all = [
        Mistake::DataRx1Frequency,
        Mistake::DataRx1Rate,
        Mistake::OffsetForgotten,
        Mistake::DownlinkTooLong,
    ];
    makes_one(life, &all)
}

/// Whether a class C downlink does not wait for a window.
pub(in crate::scenario::talk) fn sends_at_once(life: &mut Life) -> bool {
    !life.makes(Mistake::IndicationIgnored)
        && (life.makes(Mistake::WrongClass) || life.dice.once_in(2))
}

/// Keeps a gateway's transmitter busy with what is not in the capture.
pub(in crate::scenario::talk) fn busies(life: &Life, gateway: &mut Gateway, order: &Order) {
    if life.makes(Mistake::DataCollides) {
        gateway.busy.push((order.slot.saturating_sub(20_000), order.slot + 80_000));
    }
}

/// Changes where a downlink goes.
pub(in crate::scenario::talk) fn orders(
    life: &mut Life,
    talk: &Talk,
    heard: &Heard,
    second: bool,
    order: &mut Order,
) {
    let plan = talk.node.plan;
    for mistake in life.mistakes.clone() {
        match mistake {
            Mistake::DataRx1Frequency if !second => {
                order.hz = another_hz(plan, order.hz, life.whim);
            }
            Mistake::DataRx2Frequency if second => order.hz = another_hz(plan, order.hz, life.whim),
            Mistake::DataRx1Rate if !second => {
                order.modulation = unruled_rate(plan, heard.modulation).unwrap_or(order.modulation);
            }
            Mistake::DataRx2Rate if second => {
                order.modulation = another_rate(plan, order.modulation, life.whim);
            }
            _ => {}
        }
    }
    if life.record.class == Some(Class::B) && talk.turn > 1 {
        ping(life, talk, order);
    }
}

/// Any other frequency that the gateway can send on.
fn another_hz(plan: &Plan, right: u32, whim: u32) -> u32 {
    let all: Vec<u32> = match plan.kind {
        PlanKind::Fixed => (0..8).filter_map(|n| plan.downlink_frequency(n)).collect(),
        PlanKind::Dynamic => plan.listed_channels().iter().map(|own| own.freq_hz).collect(),
    };
    let others: Vec<u32> = all.into_iter().filter(|hz| hz.abs_diff(right) > 10_000).collect();
    nth(&others, whim).unwrap_or(right + 200_000)
}

fn another_rate(plan: &Plan, right: Modulation, whim: u32) -> Modulation {
    let lora = |dr| plan.dr(Direction::Downlink, dr);
    let others: Vec<Modulation> = (0..14)
        .filter_map(lora)
        .filter(|m| matches!(m, Modulation::Lora { .. }) && *m != right)
        .collect();
    nth(&others, whim).unwrap_or(right)
}

/// Puts a class B downlink into the next ping slot.
fn ping(life: &Life, talk: &Talk, order: &mut Order) {
    let plan = talk.node.plan;
    let Some(period) = beacon::Periodicity::new(3) else { return };
    let now = GPS_MS + order.arrives / 1_000 + 10_000;
    let opens = (0..2).find_map(|ahead| {
        let beacon = (now / 128_000 + ahead) * 128_000;
        let time = GpsTime::from_seconds(u32::try_from(beacon / 1_000).ok()?);
        let mut slots = beacon::ping_slots(time, talk.dev_addr, period);
        let at = slots.find_map(|after| {
            let at = beacon + u64::try_from(after.as_millis()).ok()?;
            (at > now).then_some(at)
        })?;
        Some((at, time.seconds()))
    });
    let Some((mut at, beacon)) = opens else { return };
    if life.makes(Mistake::SlotMissed) {
        at += 300;
    }
    order.when = When::Gps(at);
    order.slot = (at - GPS_MS) * 1_000;
    order.hz = plan.ping_slot_frequency(talk.dev_addr, beacon, None).unwrap_or(order.hz);
    order.modulation = plan.dr(Direction::Downlink, plan.ping.dr).unwrap_or(order.modulation);
    if life.makes(Mistake::SlotChannel) {
        order.hz = another_hz(plan, order.hz, life.whim);
    }
    debug_assert!(microseconds(order.modulation, 20, Direction::Downlink) > 0, "it can be sent");
}
