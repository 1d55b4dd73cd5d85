//! Mistakes of sessions: what they change before the world begins.

use super::terms::personalise;
use crate::{
    frame::Direction,
    id::DevAddr,
    key::{Aes128Key, AppSKey, NwkSKey},
    radio::Modulation,
    region::PlanKind,
    roster::Class,
    scenario::{
        Mistake,
        life::{Ground, Life},
        server::{felt_offset, right_cf_list},
    },
};

/// Uplinks that tell most mistakes.
const MANY: u32 = 14;

pub(super) fn talk(mistake: Mistake, life: &mut Life, ground: &Ground) -> bool {
    if !mistake.is_of_talk() {
        return false;
    }
    life.talks = true;
    life.uplinks = life.uplinks.max(match mistake {
        Mistake::FewChannels | Mistake::DutyExceeded => 45,
        Mistake::ThinMargin | Mistake::AdrTooFar => 60,
        Mistake::AdrAckIgnored => 104,
        Mistake::DutyCommand | Mistake::OldSession => 8,
        Mistake::ForceRejoinIgnored | Mistake::BlockAnswers => 20,
        _ => MANY,
    });
    if mistake.needs_abp() {
        personalise(mistake, life, ground);
        misstate(mistake, life);
        return true;
    }
    let plan = ground.plan;
    let sub_band = ground.gateways.first().and_then(|gateway| gateway.sub_band);
    match mistake {
        Mistake::ThinMargin => {
            life.attempts_left = 40;
            life.lost_percent = 45;
            life.links.iter_mut().for_each(|link| link.margin = 10);
        }
        // The three default channels lie in one band.
        Mistake::DutyExceeded => life.terms.cf_list = None,
        Mistake::FewChannels => life.terms.cf_list = right_cf_list(plan, sub_band),
        Mistake::OffsetForgotten => {
            let felt = (0..6).find_map(|dr| felt_offset(plan, dr, life.whim));
            life.terms.rx1_offset = felt.unwrap_or_default();
        }
        Mistake::RecordUsed => {
            let lora = |dr: &u8| {
                matches!(plan.dr(Direction::Downlink, *dr), Some(Modulation::Lora { .. }))
            };
            let own = life.terms.rx2_rate;
            life.record.rx2_data_rate = (0..14).filter(lora).find(|dr| *dr != own);
        }
        Mistake::WrongClass => {
            life.record.class = Some(Class::C);
            if let Some(firmware) = &mut life.firmware {
                firmware.class = Some(Class::A);
            }
        }
        Mistake::IndicationIgnored => life.set_class(Class::C),
        Mistake::SlotMissed | Mistake::SlotChannel => life.set_class(Class::B),
        Mistake::OldSession => life.rejoins = 1,
        _ => {}
    }
    debug_assert!(mistake != Mistake::ChannelNotGiven || plan.kind == PlanKind::Dynamic, "fits");
    true
}

/// Puts a session on record that is not quite the node's.
fn misstate(mistake: Mistake, life: &mut Life) {
    let record = &mut life.record;
    let (Some(nwk_s_key), Some(app_s_key)) = (&record.nwk_s_key, &record.app_s_key) else { return };
    match mistake {
        Mistake::AddressTyped => {
            let slip = 1 << (life.whim % 20);
            record.dev_addr = record.dev_addr.map(|own| DevAddr(own.0 ^ slip));
        }
        Mistake::SessionKeyTyped => {
            let mut octets = *nwk_s_key.key().expose();
            let place = life.whim as usize % octets.len();
            octets.iter_mut().skip(place).take(1).for_each(|octet| *octet ^= 0x01);
            record.nwk_s_key = Some(NwkSKey::from(octets));
        }
        Mistake::SessionKeysSwapped => {
            let network: Aes128Key = nwk_s_key.key().clone();
            let application: Aes128Key = app_s_key.key().clone();
            record.nwk_s_key = Some(NwkSKey::from(*application.expose()));
            record.app_s_key = Some(AppSKey::from(*network.expose()));
        }
        _ => record.nwk_s_key = Some(NwkSKey::from(life.dice.key())),
    }
}
