//! Mistakes with accepts, with sessions, and with what is built into nodes without a join.

use crate::{
    crypto::{block::FOptsText, derive::SessionKeys},
    frame::{CfList, Direction, MacVersion},
    key::{Aes128Key, AppKey, AppSKey, NwkKey, NwkSKey},
    region::Plan,
    roster::{Activation, Class, DevAddrPrefix},
    scenario::{
        Mistake,
        air::{default_channels, join_rates},
        life::{Ground, Life},
        node::{Nonces, Session},
        server::{felt_offset, right_cf_list, unruled_rate},
    },
};

pub(super) fn accept(mistake: Mistake, life: &mut Life, ground: &Ground) -> bool {
    let plan = ground.plan;
    let first = |mistake| matches!(mistake, Mistake::Rx1Frequency | Mistake::Rx1Rate);
    match mistake {
        Mistake::Rx1Frequency | Mistake::Rx1Offset | Mistake::Rx1Rate => {
            life.terms.second_window = false;
            let rates = join_rates(plan);
            let felt = |dr: &u8| {
                first(mistake) && mistake == Mistake::Rx1Frequency
                    || mistake == Mistake::Rx1Offset && felt_offset(plan, *dr, 0).is_some()
                    || mistake == Mistake::Rx1Rate
                        && plan
                            .dr(Direction::Uplink, *dr)
                            .is_some_and(|m| unruled_rate(plan, m).is_some())
            };
            let rates: Vec<u8> = rates.into_iter().filter(felt).collect();
            life.join_rate = life.dice.pick(&rates);
            if mistake == Mistake::Rx1Offset {
                let offset = life.join_rate.and_then(|dr| felt_offset(plan, dr, life.whim));
                life.terms.rx1_offset = offset.unwrap_or_default();
                life.record.rx1_dr_offset = offset;
            }
        }
        Mistake::Rx2Frequency | Mistake::Rx2Rate => life.terms.second_window = true,
        Mistake::FrequencyOutOfRange => {
            life.terms.second_window = true;
            life.record.rx2_frequency = Some(plan.range_hz.0 - 2_000_000);
        }
        Mistake::AcceptOtherKey => life.terms.accept_key = Some(Aes128Key::new(life.dice.key())),
        Mistake::Says1_1 => {
            life.record.mac_version = Some(MacVersion::V1_1);
            life.record.nwk_key = Some(NwkKey::from(life.node.app_key.clone()));
            life.record.last_dev_nonce = None;
            life.served.last_nonce = None;
            if let Nonces::Random(_) = life.node.nonces {
                // By luck they grow: the version is what is wrong here, not the nonces.
                life.node.nonces = Nonces::Counting(100);
            }
        }
        Mistake::CfListType => life.terms.cf_list = Some(wrong_cf_list(plan)),
        Mistake::RxParameters => {
            let none = |dr: &u8| plan.dr(Direction::Downlink, *dr).is_none();
            if plan.rx1_offset_max < 7 && life.whim.is_multiple_of(2) {
                life.terms.rx1_offset = plan.rx1_offset_max + 1;
            } else {
                life.terms.rx2_rate = (0..16).rfind(none).unwrap_or(15);
            }
        }
        Mistake::CfListChannels => {
            let sub_band = ground.gateways.first().and_then(|g| g.sub_band);
            life.terms.cf_list = right_cf_list(plan, sub_band).map(|list| {
                let words: Vec<u16> =
                    list.masks().take(plan.mask_words()).map(u16::swap_bytes).collect();
                CfList::of_masks(&words)
            });
        }
        Mistake::IgnoresFallback => {
            life.node.ignores_fallback = true;
            life.record.mac_version = Some(MacVersion::V1_0_3);
            life.record.app_key = Some(AppKey::from(life.node.nwk_key.clone()));
            life.record.nwk_key = None;
            life.record.last_dev_nonce = None;
            life.served.last_nonce = None;
        }
        Mistake::MisreadDerivation => life.node.misreads = Some(life.whim),
        Mistake::Ghost | Mistake::LateCopy => {
            // RX1 for the right one, RX2 for the copy.
            life.terms.second_window = false;
        }
        Mistake::ForeignAddress => {
            if life.whim.is_multiple_of(2) {
                life.record.dev_addr_prefix = DevAddrPrefix::new(0, 7);
            } else {
                // The last of the last type: nobody's, and not for experiments, which own no range.
                life.record.net_id = crate::id::NetId::new(0x00FF_FFFF);
            }
        }
        Mistake::DelayForgotten => life.terms.rx_delay = 5,
        _ => return false,
    }
    true
}

fn wrong_cf_list(plan: &Plan) -> CfList {
    if plan.accepts_cflist_type(0) {
        CfList::of_masks(&[0x00FF])
    } else {
        let (low, _) = plan.range_hz;
        CfList::of_frequencies(&[low + 300_000, low + 500_000, low + 700_000])
    }
}

pub(super) fn later(mistake: Mistake, life: &mut Life, ground: &Ground) -> bool {
    match mistake {
        Mistake::CounterRestarted | Mistake::UpperHalfLost | Mistake::DownlinkBack => {
            personalise(mistake, life, ground);
        }
        Mistake::AppKeyStale => life.rejoins = 1,
        Mistake::FOptsAsPublished => life.node.fopts_text = FOptsText::AsPublished,
        Mistake::ClassCRate => life.set_class(Class::C),
        Mistake::NoGps => life.set_class(Class::B),
        _ => return false,
    }
    true
}

impl Life {
    pub(super) fn set_class(&mut self, class: Class) {
        self.record.class = Some(class);
        if let Some(firmware) = &mut self.firmware {
            firmware.class = Some(class);
        }
    }
}

/// Builds a session into the node and puts it on record.
pub(super) fn personalise(mistake: Mistake, life: &mut Life, ground: &Ground) {
    let dev_addr = life.dev_addr();
    let nwk_s_key = NwkSKey::from(life.dice.key());
    let app_s_key = AppSKey::from(life.dice.key());
    let keys =
        SessionKeys::V1_0 { nwk_s_key: nwk_s_key.clone(), app_s_key: Some(app_s_key.clone()) };
    for claim in life.firmware.iter_mut().chain([&mut life.record]) {
        claim.activation = Some(Activation::Abp);
        claim.app_key = None;
        claim.join_eui = None;
        claim.dev_addr = Some(dev_addr);
        claim.nwk_s_key = Some(nwk_s_key.clone());
        claim.app_s_key = Some(app_s_key.clone());
    }
    life.record.last_dev_nonce = None;
    let mut session = Session::new(dev_addr, keys);
    let sub_band = ground.gateways.first().and_then(|gateway| gateway.sub_band);
    session.channels = default_channels(life.node.plan, sub_band);
    session.fcnt_up = life.dice.between(300, 9_000);
    match mistake {
        Mistake::UpperHalfLost => {
            session.fcnt_up = 0x1_0000 - 3;
            let bits = if life.whim.is_multiple_of(2) { 32 } else { 16 };
            life.record.fcnt_bits = Some(bits);
        }
        Mistake::DownlinkBack if life.whim.is_multiple_of(2) => session.fcnt_down = 40,
        Mistake::DownlinkBack => {
            life.record.next_fcnt_down = Some(0);
            if let Some(firmware) = &mut life.firmware {
                firmware.last_fcnt_down = Some(life.dice.between(40, 400));
            }
        }
        _ => {}
    }
    life.uplinks = life.uplinks.max(7);
    life.record.last_fcnt_up = Some(session.fcnt_up - 1);
    life.served.session = Some(session.clone());
    life.node.session = Some(session);
}
