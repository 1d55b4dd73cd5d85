//! The node: what it says, what it receives, and what it does with it.

use super::{AGAIN_US, Talk, wrong};
use crate::{
    crypto::derive::SessionKeys,
    frame::{
        Direction, FCtrl, FType, MacVersion,
        command::{self, Repeats},
    },
    intake::When,
    roster::Class,
    scenario::{
        data::HEAD,
        gateway::{Heard, Order},
        life::Life,
        node::Message,
    },
};

/// FHDR without FOpts, and FPort.
const FHDR_AND_FPORT: usize = 8;
/// FOpts hold so much.
const FOPTS: usize = 15;
/// ADR_ACK_LIMIT and ADR_ACK_DELAY.
const ADR_ACK: (u32, u32) = (64, 32);

/// A downlink, as the node reads it.
#[derive(Clone, Debug)]
pub(super) struct Down {
    pub(super) fctrl: FCtrl,
    pub(super) ftype: FType,
    pub(super) fcnt: u32,
    /// MAC commands, in clear.
    pub(super) commands: Vec<u8>,
}

/// Returns what the node says next.
pub(super) fn message(life: &mut Life, talk: &mut Talk) -> Message {
    let (limit, delay) = ADR_ACK;
    let waits = talk.silent >= limit;
    if talk.silent >= limit + delay && (talk.silent - limit).is_multiple_of(delay) {
        let rates = talk.node.rates();
        talk.node.rate =
            rates.into_iter().rfind(|dr| *dr < talk.node.rate).unwrap_or(talk.node.rate);
    }
    let acks = talk.acks.take();
    let fctrl = 0x80 | if waits { 0x40 } else { 0 } | if acks.is_some() { 0x20 } else { 0 };
    let [lo, hi, ..] = acks.unwrap_or_default().to_le_bytes();
    let of_1_1 = is_1_1(life);
    let mut message = Message {
        ftype: if life.dice.once_in(4) { FType::ConfirmedDataUp } else { FType::UnconfirmedDataUp },
        fctrl: FCtrl::new(fctrl),
        fopts: Vec::new(),
        port: Some(2),
        payload: payload(life),
        conf_fcnt: if of_1_1 { u16::from_le_bytes([lo, hi]) } else { 0 },
    };
    let room = room(talk);
    let mut said: Vec<Vec<u8>> = talk.sticky.clone();
    said.append(&mut talk.owed);
    said.extend(requests(life, talk));
    wrong::says(life, talk, &mut message, &mut said);
    for command in said {
        if message.fopts.len() + command.len() <= room.min(FOPTS) {
            message.fopts.extend(command);
        } else if !talk.sticky.contains(&command) && command.len() > 1 {
            // There is no room: in the next one.
            talk.owed.push(command);
        }
    }
    if message.fopts.len() + message.payload.len() > room {
        message.port = None;
        message.payload.clear();
    }
    wrong::speaks(life, talk, &mut message);
    message
}

/// Whether the session is one of 1.1.
pub(super) fn is_1_1(life: &Life) -> bool {
    let keys = life.node.session.as_ref().map(|session| &session.keys);
    matches!(keys, Some(SessionKeys::V1_1 { .. }))
}

/// Octets that FOpts and FRMPayload may have together.
fn room(talk: &Talk) -> usize {
    let radio = &talk.node;
    let most = radio.plan.max_payload(Direction::Uplink, radio.rate, radio.up_dwell, true);
    most.map_or(11, |(m, _)| usize::from(m).saturating_sub(FHDR_AND_FPORT))
}

fn payload(life: &mut Life) -> Vec<u8> {
    let mut payload = HEAD.to_vec();
    let value = life.dice.below(0x1_0000);
    payload.extend(u16::try_from(value).unwrap_or_default().to_be_bytes());
    payload
}

/// What the node asks for itself.
fn requests(life: &mut Life, talk: &Talk) -> Vec<Vec<u8>> {
    let mut out = Vec::new();
    if is_1_1(life) && !talk.confirmed {
        // RekeyInd.
        out.push(vec![0x0B, 0x01]);
    }
    // LinkCheckReq, DeviceTimeReq.
    if life.dice.once_in(8) {
        out.push(vec![0x02]);
    }
    if talk.version >= MacVersion::V1_0_3 && life.dice.once_in(8) {
        out.push(vec![0x0D]);
    }
    out
}

/// Whether a downlink on the air reaches the node's open receiver.
pub(super) fn receives(life: &Life, talk: &Talk, heard: &Heard, order: &Order) -> bool {
    if wrong::is_deaf(life) || !order.inverted {
        return false;
    }
    let (rx1, rx2) = talk.node.windows(heard.hz, heard.modulation);
    let class = life.firmware.as_ref().and_then(|firmware| firmware.class);
    let at_once = order.when == When::Immediate;
    let delay = u64::from(talk.node.rx_delay) * 1_000_000;
    let after = order.slot.saturating_sub(heard.ends);
    let window = match (at_once, after) {
        (true, _) => rx2.filter(|_| class == Some(Class::C)),
        (false, us) if us == delay => rx1,
        (false, us) if us == delay + 1_000_000 => rx2,
        _ => None,
    };
    let in_time = after < AGAIN_US || at_once;
    in_time && window.is_some_and(|w| (w.freq_hz, w.modulation) == (order.hz, order.modulation))
}

/// Does what a downlink says.
#[expect(clippy::match_same_arms, reason = "a row a command")]
pub(super) fn obey(life: &Life, talk: &mut Talk, down: &Down) {
    talk.silent = 0;
    talk.sticky.clear();
    if down.ftype.is_confirmed() {
        talk.acks = Some(down.fcnt);
    }
    let version = Some(talk.version);
    let read = command::decode(&down.commands, Direction::Downlink, version).commands;
    for (place, request) in read.iter().enumerate() {
        let octets = &request.octets;
        match octets.first() {
            // RekeyConf, DeviceModeConf.
            Some(0x0B | 0x20) => talk.confirmed = true,
            Some(0x02 | 0x0D | 0x10) => {}
            Some(cid) => {
                let goes_on = read.get(place + 1).is_some_and(|next| next.cid() == 0x03);
                let ends = *cid == 0x03 && !goes_on;
                for answer in answers(life, talk, octets, ends) {
                    keep(talk, answer);
                }
            }
            None => {}
        }
    }
}

/// An answer waits for the next uplink, or is repeated from there on.
fn keep(talk: &mut Talk, answer: Vec<u8>) {
    let cid = answer.first().copied().unwrap_or_default();
    let row = command::row(cid, Direction::Uplink, Some(talk.version));
    let sticky = row.is_some_and(|row| match row.repeats {
        Repeats::UntilDownlink(versions) => versions.contains(&talk.version),
        Repeats::Never | Repeats::UntilConfirmed => false,
    });
    if sticky { talk.sticky.push(answer) } else { talk.owed.push(answer) }
}

/// Carries a request out, and returns the answer that is due.
fn answers(life: &Life, talk: &mut Talk, octets: &[u8], ends_block: bool) -> Vec<Vec<u8>> {
    let cid = octets.first().copied().unwrap_or_default();
    if let Some(answer) = wrong::answers(life, talk, octets, ends_block) {
        return answer;
    }
    if !talk.node.obey(octets) {
        return Vec::new();
    }
    let answer = match cid {
        // 1.1 answers a block once.
        0x03 if talk.version == MacVersion::V1_1 && !ends_block => return Vec::new(),
        0x03 | 0x05 => vec![cid, 0x07],
        0x07 | 0x0A => vec![cid, 0x03],
        0x06 => vec![cid, 0xFF, 0x07],
        0x0F => vec![cid, 0x01],
        // ForceRejoinReq has no answer.
        0x0E => return Vec::new(),
        _ => vec![cid],
    };
    vec![answer]
}
