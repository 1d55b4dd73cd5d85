//! Mistakes of the node.

use super::super::Talk;
use crate::{
    frame::{Direction, FCtrl, FType},
    radio::Modulation,
    roster::Class,
    scenario::{Mistake, air::Channel, life::Life, node::Message},
};

/// Channel and data rate of the next uplink.
pub(in crate::scenario::talk) fn place(
    life: &mut Life,
    talk: &Talk,
) -> Option<(Channel, Modulation)> {
    let radio = &talk.node;
    if life.makes(Mistake::AdrTooFar) && Some(radio.rate) == radio.rates().last().copied() {
        life.lost_percent = 70;
        life.links.iter_mut().for_each(|link| link.margin = 5);
    }
    let too_long = life.makes(Mistake::UplinkTooLong) && radio.up_dwell;
    if life.makes(Mistake::ChannelNotGiven) && life.dice.once_in(2) {
        let added = radio.channels.last().copied();
        return Some((added?, radio.plan.dr(Direction::Uplink, radio.rate)?));
    }
    let odd = too_long || life.makes(Mistake::RateNotGiven);
    if !odd {
        return radio.place(&mut life.dice);
    }
    let rate = if too_long { 0 } else { radio.rate };
    let channels: Vec<Channel> = radio.open().filter(|channel| channel.takes(0)).collect();
    let modulation = radio.plan.dr(Direction::Uplink, rate)?;
    Some((life.dice.pick(&channels)?, modulation))
}

/// What the node says of MAC commands.
pub(in crate::scenario::talk) fn says(
    life: &Life,
    talk: &Talk,
    message: &mut Message,
    said: &mut Vec<Vec<u8>>,
) {
    for mistake in &life.mistakes {
        let always = match mistake {
            Mistake::RequestIgnored => vec![0x02],
            Mistake::TimeOfUnix | Mistake::TimeOfUtc => vec![0x0D],
            Mistake::IndicationIgnored if talk.turn > 0 => vec![0x20, 0x02],
            Mistake::RekeyMissing => {
                said.retain(|command| command.first() != Some(&0x0B));
                continue;
            }
            _ => continue,
        };
        said.retain(|command| *command != always);
        said.insert(0, always);
    }
    let is_b = life.record.class == Some(Class::B);
    if is_b && talk.turn == 0 {
        // PingSlotInfoReq: every eight seconds.
        said.push(vec![0x10, 0x03]);
    }
    if is_b {
        message.fctrl = FCtrl::new(message.fctrl.bits() | 0x10);
    }
}

/// What the node says of all else.
pub(in crate::scenario::talk) fn speaks(life: &Life, talk: &Talk, message: &mut Message) {
    for mistake in &life.mistakes {
        match mistake {
            Mistake::NeverAcks | Mistake::AckMissing | Mistake::ConfWrong => {
                message.ftype = FType::ConfirmedDataUp;
            }
            Mistake::AdrAckIgnored
            | Mistake::DutyExceeded
            | Mistake::DutyCommand
            | Mistake::RekeyMissing => message.ftype = FType::UnconfirmedDataUp,
            Mistake::AdrOff => message.fctrl = FCtrl::new(message.fctrl.bits() & !0x80),
            Mistake::PortZero if talk.turn > 1 => {
                message.fopts.clear();
                message.port = Some(0);
                message.payload = vec![0x67, 0x19, 0x20, 0x0A];
            }
            _ => {}
        }
    }
    if life.makes(Mistake::DutyExceeded) && message.port.is_some() {
        message.payload.resize(40, 0x2A);
    }
}

/// Whether the node hears nothing of this session, or drops it all.
pub(in crate::scenario::talk) fn is_deaf(life: &Life) -> bool {
    let ears = [
        Mistake::DataDeaf,
        Mistake::AnotherKey,
        Mistake::AnotherAddress,
        Mistake::ConfWrong,
        Mistake::OldSession,
        Mistake::DownlinkStands,
        Mistake::WrongClass,
    ];
    ears.iter().any(|mistake| life.makes(*mistake)) && !is_before_the_old(life)
}

/// The session that the server keeps is the first; in it all is well.
fn is_before_the_old(life: &Life) -> bool {
    life.makes(Mistake::OldSession) && life.served.earlier.is_empty()
}

/// What the node answers, and whether it does it; `None` where it acts rightly.
#[expect(clippy::match_same_arms, reason = "a row a command")]
pub(in crate::scenario::talk) fn answers(
    life: &Life,
    talk: &mut Talk,
    octets: &[u8],
    ends_block: bool,
) -> Option<Vec<Vec<u8>>> {
    let cid = *octets.first()?;
    let refused = |cid: u8, status: u8| Some(vec![vec![cid, status]]);
    life.mistakes.iter().find_map(|mistake| match (mistake, cid) {
        (Mistake::RateRefused, 0x03) => refused(cid, 0x05),
        (Mistake::AdrPowerRefused, 0x03) => refused(cid, 0x03),
        (Mistake::AdrOff, 0x03) => refused(cid, 0x01),
        (Mistake::ReceiveRefused, 0x05) => refused(cid, 0x06),
        (Mistake::NotHeld, 0x05) => refused(cid, 0x05),
        (Mistake::ChannelRefused, 0x07) => refused(cid, 0x02),
        (Mistake::NotApplied, 0x03) => refused(cid, 0x07),
        (Mistake::NoAnswer, 0x06) => Some(Vec::new()),
        (Mistake::BlockAnswers, 0x03) => {
            talk.node.obey(octets);
            let once = if ends_block { vec![vec![cid, 0x07]] } else { Vec::new() };
            Some(once)
        }
        (Mistake::UplinkTooLong, 0x09) => {
            let rate = talk.node.rate;
            talk.node.obey(octets);
            talk.node.rate = rate;
            Some(vec![vec![cid]])
        }
        _ => None,
    })
}
