//! The server: what it checks, the accept that it makes, and where it sends that.

use super::{
    Mistake,
    air::{further_frequencies, join_channels},
    dice::Dice,
    gateway::{Heard, Order},
    life::{Ground, Life, Terms},
    node::{Session, seal},
};
use crate::{
    crypto::{derive, mic},
    frame::{
        CfList, DlSettings, FType, Frame, JoinAccept, JoinRequest, MacVersion, Mhdr, Mic, RxDelay,
    },
    id::JoinNonce,
    intake::When,
    key::{Aes128Key, NwkKey},
    radio::Modulation,
    region::{ChannelMask, JoinFit, Plan, PlanKind, Window},
};

/// Returns the CFList that a server would send in a plan; now and then none.
pub(super) fn cf_list(plan: &Plan, sub_band: Option<u8>, dice: &mut Dice) -> Option<CfList> {
    if dice.once_in(4) {
        return None;
    }
    right_cf_list(plan, sub_band)
}

/// Returns the CFList that fits a plan and the gateway's sub-band.
pub(super) fn right_cf_list(plan: &Plan, sub_band: Option<u8>) -> Option<CfList> {
    match plan.kind {
        PlanKind::Dynamic => {
            let more = further_frequencies(plan);
            (!more.is_empty()).then(|| CfList::of_frequencies(&more))
        }
        PlanKind::Fixed => {
            let channels = plan.sub_band_channels(sub_band?);
            let mask = ChannelMask::from_channels(channels).padded(plan.mask_words());
            plan.accepts_cflist_type(1).then(|| CfList::of_masks(mask.words()))
        }
    }
}

/// Returns the key under which the server checks a request.
fn checks_with(life: &Life) -> Option<&Aes128Key> {
    match life.record.mac_version {
        Some(MacVersion::V1_1) => life.record.nwk_key.as_ref().map(NwkKey::key),
        _ => life.record.app_key.as_ref().map(crate::key::AppKey::key),
    }
}

/// Whether the server answers a request.
pub(super) fn takes(life: &Life, ground: &Ground, request: &JoinRequest, heard: &Heard) -> bool {
    let Some(key) = checks_with(life) else { return false };
    let key = NwkKey::from(key.clone());
    let known =
        ground.gateways.get(heard.by).is_some_and(|g| life.record.gateways.contains(&g.eui));
    let counts = life.record.mac_version.is_some_and(MacVersion::counts_dev_nonces);
    let nonce = request.dev_nonce.0;
    let fresh = if counts {
        life.served.last_nonce.is_none_or(|last| nonce > last)
    } else {
        !life.served.used.contains(&nonce) && !life.record.used_dev_nonces.contains(&nonce)
    };
    known
        && fresh
        && life.record.dev_eui == Some(request.dev_eui)
        && life.record.join_eui == Some(request.join_eui)
        && request.surplus.is_empty()
        && matches!(ground.plan.join_fit(heard.hz, heard.modulation), JoinFit::Fits { .. })
        && mic::join_request(&key, request) == request.mic
        && !life.makes(Mistake::ServerSilent)
}

/// Returns the accept for a request, sealed, and the session that the server begins with it.
pub(super) fn accept(life: &mut Life, request: &JoinRequest) -> Option<Vec<u8>> {
    life.served.last_nonce = Some(request.dev_nonce.0);
    life.served.used.push(request.dev_nonce.0);
    life.served.join_nonce += 1;
    let by_1_1 = life.record.mac_version == Some(MacVersion::V1_1);
    let root = checks_with(life)?.clone();
    let terms = &life.terms;
    let settings = u8::from(by_1_1) << 7 | terms.rx1_offset << 4 | terms.rx2_rate;
    let (cf_list, rx_delay) = (terms.cf_list, RxDelay(terms.rx_delay));
    let sealed_with = terms.accept_key.clone().unwrap_or_else(|| root.clone());
    let mut accept = JoinAccept {
        mhdr: Mhdr::new(FType::JoinAccept),
        join_nonce: JoinNonce::new(life.served.join_nonce & 0x00FF_FFFF)?,
        net_id: crate::id::NetId::new(1)?,
        dev_addr: life.dev_addr(),
        dl_settings: DlSettings(settings),
        rx_delay,
        cf_list,
        mic: Mic([0; 4]),
    };
    let answers = if life.makes(Mistake::AnswersEarlier) {
        life.served.before.replace(request.clone())?
    } else {
        request.clone()
    };
    let sealed = seal(&sealed_with, by_1_1, &answers, &mut accept);
    let root = NwkKey::from(root);
    let nonce = answers.dev_nonce;
    let keys = if by_1_1 {
        let app = life.record.app_key.as_ref();
        derive::session_1_1(&root, app, accept.join_nonce, request.join_eui, nonce)
    } else {
        derive::session_1_0(&root, accept.join_nonce, accept.net_id, nonce)
    };
    let mut session = Session::new(accept.dev_addr, keys);
    session.accept = Some(accept);
    life.served.earlier.extend(life.served.session.replace(session));
    Some(Frame::JoinAccept(sealed).build())
}

/// Returns where and when the accept for a request goes out.
pub(super) fn order(life: &mut Life, ground: &Ground, heard: &Heard, octets: Vec<u8>) -> Order {
    let plan = ground.plan;
    let whim = life.whim;
    let second = life.terms.second_window;
    let mut delay: u64 = if second { 6_000_000 } else { 5_000_000 };
    let rx2 = plan.join_rx2(heard.hz);
    let rx1 = plan.join_rx1(heard.hz, heard.modulation).unwrap_or(rx2);
    let window = if second { rx2 } else { rx1 };
    let (mut hz, mut modulation) = (window.freq_hz, window.modulation);
    let mut arrives = heard.at + life.terms.takes_us;
    let mut immediate = false;
    let mistakes = life.mistakes.iter().filter(|m| life.terms.is_made_in(**m, second));
    let mistakes: Vec<Mistake> = mistakes.copied().collect();
    for mistake in &mistakes {
        match mistake {
            Mistake::DataDelay => delay -= 4_000_000,
            Mistake::OddDelay => match whim % 5 {
                0 => immediate = true,
                n => {
                    delay = [4_000_000, 7_000_000, 3_000_000, 5_500_000]
                        .get(n as usize - 1)
                        .copied()
                        .unwrap_or(delay);
                }
            },
            Mistake::OtherGroup => hz = hz.saturating_add_signed(group_offset(plan, whim)),
            Mistake::FrequencyOutOfRange => hz = plan.range_hz.0 - 2_000_000,
            Mistake::Rx1Frequency | Mistake::Rx2Frequency => {
                hz = another_frequency(plan, hz, whim);
            }
            Mistake::Rx1Offset => {
                let offset = life.terms.rx1_offset;
                let shifted = plan.rx1(heard.hz, heard.modulation, offset, false);
                modulation = shifted.map_or(modulation, |w| w.modulation);
            }
            Mistake::Rx1Rate => {
                modulation = unruled_rate(plan, heard.modulation).unwrap_or(modulation);
            }
            Mistake::Rx2Rate => modulation = another_rate(plan, window, whim),
            Mistake::TooLate => {
                let late = i64::from(whim % 1_200_000) - 1_000;
                arrives = (heard.ends + delay).saturating_add_signed(late);
                if late < 5_000 {
                    arrives = heard.ends + delay - 1_000;
                }
            }
            _ => {}
        }
    }
    let gateway = ground.gateways.get(heard.by);
    let slot = if immediate { arrives } else { heard.ends + delay };
    let us = u32::try_from(delay).unwrap_or_default();
    let when = match gateway {
        Some(_) if !immediate => When::Counter(heard.tmst.wrapping_add(us)),
        _ => When::Immediate,
    };
    let ordinary = life.terms.both_windows && second;
    let power_dbm = if ordinary { life.terms.power_dbm.min(14) } else { life.terms.power_dbm };
    let inverted = !mistakes.contains(&Mistake::Polarity);
    Order { octets, when, slot, hz, modulation, power_dbm, inverted, arrives }
}

impl Terms {
    /// Whether a mistake is made in one of the windows, where the server sends in both.
    fn is_made_in(&self, mistake: Mistake, second: bool) -> bool {
        match mistake {
            _ if !self.both_windows => true,
            Mistake::Rx1Frequency | Mistake::Rx1Offset | Mistake::Rx1Rate | Mistake::TooLate => {
                !second
            }
            Mistake::Rx2Frequency
            | Mistake::Rx2Rate
            | Mistake::FrequencyOutOfRange
            | Mistake::Polarity => second,
            _ => true,
        }
    }
}

/// Returns by how much another AS923 group is shifted against a plan.
fn group_offset(plan: &Plan, whim: u32) -> i32 {
    let own = plan.frequency_offset_hz.unwrap_or_default();
    let others: Vec<i32> = Plan::all()
        .iter()
        .filter(|p| p.name.starts_with("AS923") && p.name != plan.name)
        .filter_map(|p| Some(p.frequency_offset_hz? - own))
        .collect();
    nth(&others, whim).unwrap_or_default()
}

/// Returns a downlink frequency of the plan other than the right one.
fn another_frequency(plan: &Plan, right: u32, whim: u32) -> u32 {
    let downlinks = (0..96).filter_map(|n| plan.downlink_frequency(n));
    let uplinks = join_channels(plan, None).into_iter().map(|c| c.hz);
    let all: Vec<u32> = match plan.kind {
        PlanKind::Fixed => downlinks.take(48).collect(),
        PlanKind::Dynamic => uplinks.collect(),
    };
    let others: Vec<u32> = all.into_iter().filter(|hz| hz.abs_diff(right) > 10_000).collect();
    nth(&others, whim).unwrap_or(right + 200_000)
}

fn lora_downlink_rates(plan: &Plan) -> impl Iterator<Item = Modulation> + '_ {
    (0..16)
        .filter_map(|dr| plan.dr(crate::frame::Direction::Downlink, dr))
        .filter(|m| matches!(m, Modulation::Lora { .. }))
}

fn another_rate(plan: &Plan, right: Window, whim: u32) -> Modulation {
    let others: Vec<Modulation> =
        lora_downlink_rates(plan).filter(|m| *m != right.modulation).collect();
    nth(&others, whim).unwrap_or(right.modulation)
}

/// Returns a downlink data rate that no RX1DROffset gives for an uplink.
pub(super) fn unruled_rate(plan: &Plan, uplink: Modulation) -> Option<Modulation> {
    let up = plan.dr_of(crate::frame::Direction::Uplink, uplink)?;
    let ruled: Vec<Modulation> = (0..=7)
        .filter_map(|offset| plan.rx1_dr(up, offset, false))
        .filter_map(|dr| plan.dr(crate::frame::Direction::Downlink, dr))
        .collect();
    lora_downlink_rates(plan).find(|m| !ruled.contains(m))
}

/// Returns an RX1DROffset that changes the data rate of an uplink's answer.
pub(super) fn felt_offset(plan: &Plan, uplink_dr: u8, whim: u32) -> Option<u8> {
    let right = plan.rx1_dr(uplink_dr, 0, false)?;
    let felt: Vec<u8> = (1..=plan.rx1_offset_max)
        .filter(|o| plan.rx1_dr(uplink_dr, *o, false).is_some_and(|dr| dr != right))
        .collect();
    nth(&felt, whim)
}

/// Returns one of a list, by a number of any size.
pub(super) fn nth<T: Copy>(list: &[T], whim: u32) -> Option<T> {
    list.get((whim as usize).checked_rem(list.len())?).copied()
}
