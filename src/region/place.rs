//! What a frequency is for, in every plan.

use super::{ChannelHit, DutyBand, JoinChannels, LegalChannel, Plan};

/// A plan in whose band, or on one of whose frequencies, a frequency lies.
#[derive(Clone, Debug)]
pub struct PlanAt {
    /// The plan.
    pub plan: &'static Plan,
    /// What the frequency is for in it.
    pub roles: Vec<Role>,
    /// The nearest uplink channel that the plan numbers.
    pub nearest_uplink: Option<ChannelHit>,
    /// The nearest downlink channel that the plan numbers; none in dynamic plans.
    pub nearest_downlink: Option<ChannelHit>,
    /// The shares of the air that a transmission there counts in.
    pub duty: Vec<DutyBand>,
    /// What the regulator says of the frequency, where it lists the lawful ones.
    pub legal: Option<LegalChannel>,
}

/// Something that a frequency is for. Frequencies count as the same within 1 kHz.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
#[non_exhaustive]
pub enum Role {
    /// An uplink channel, whose RX1 is at `rx1_hz`.
    Uplink {
        /// The channel.
        channel: u16,
        /// Bandwidth of the channel, where its plan sets one.
        bw_khz: Option<u16>,
        /// Its sub-band.
        sub_band: Option<u8>,
        /// Whether Join-Requests may be sent on it.
        join: bool,
        /// Where RX1 is for data.
        rx1_hz: Option<u32>,
    },
    /// A join channel that several plans share.
    CommonJoin {
        /// Its index.
        index: u8,
        /// Whether a join there activates this very plan.
        own: bool,
        /// RX1 of the Join-Accept.
        join_accept_hz: u32,
        /// RX2.
        rx2_hz: u32,
    },
    /// A downlink channel: RX1 of the uplinks that lead there.
    Downlink {
        /// The channel.
        channel: u16,
    },
    /// RX1 of the Join-Accept after a join on the common join channel of that index.
    JoinAccept {
        /// The index.
        index: u8,
    },
    /// RX2 after a join on the common join channel of that index.
    Rx2AfterJoin {
        /// The index.
        index: u8,
    },
    /// The default RX2.
    Rx2,
    /// A number of the fixed list of a CFListType 1.
    FixedList {
        /// The number.
        number: u16,
    },
    /// The Class B beacon.
    Beacon,
    /// The default ping slot.
    PingSlot,
    /// A relay's wake-on-radio channel.
    RelayWor,
    /// A relay's acknowledgement channel.
    RelayAck,
}

/// Returns, for every plan in whose band the frequency lies, what it is for.
pub fn plans_at(freq_hz: u32) -> Vec<PlanAt> {
    Plan::all()
        .iter()
        .copied()
        .map(|plan| PlanAt {
            plan,
            roles: roles(plan, freq_hz),
            nearest_uplink: plan.nearest_uplink(freq_hz, None),
            nearest_downlink: plan.nearest_downlink(freq_hz),
            duty: plan.duty_bands().filter(|band| band.covers(plan, freq_hz)).collect(),
            legal: plan
                .legal_channels
                .iter()
                .copied()
                .find(|legal| legal.freq_hz.abs_diff(freq_hz) < SAME_HZ),
        })
        .filter(|place| plan_holds(place, freq_hz))
        .collect()
}

fn plan_holds(place: &PlanAt, freq_hz: u32) -> bool {
    place.plan.in_band(freq_hz) || !place.roles.is_empty()
}

fn roles(plan: &'static Plan, freq_hz: u32) -> Vec<Role> {
    let here = |hz: u32| hz.abs_diff(freq_hz) < SAME_HZ;
    let mut roles = Vec::new();
    for channel in plan.channels() {
        if plan.channel_frequency(channel).is_some_and(here) {
            roles.push(uplink_role(plan, channel, freq_hz));
        }
    }
    if let JoinChannels::Common { table, .. } = plan.join.channels {
        for c in table {
            let index = c.index;
            let own = c.plan == plan.name;
            if here(c.uplink_hz) {
                let (join_accept_hz, rx2_hz) = (c.join_accept_hz, c.rx2_hz);
                roles.push(Role::CommonJoin { index, own, join_accept_hz, rx2_hz });
            }
            if own && here(c.join_accept_hz) {
                roles.push(Role::JoinAccept { index });
            }
            if own && here(c.rx2_hz) {
                roles.push(Role::Rx2AfterJoin { index });
            }
        }
    }
    for block in plan.downlink_blocks {
        for channel in block.first..block.first + block.count {
            if block.frequency(channel).is_some_and(here) {
                roles.push(Role::Downlink { channel });
            }
        }
    }
    if here(plan.rx2_default.freq_hz) {
        roles.push(Role::Rx2);
    }
    if let Some((number, _)) =
        plan.fixed_list().and_then(|l| l.iter().find(|&(_, f)| here(f) && plan.in_band(f)))
    {
        roles.push(Role::FixedList { number });
    }
    if plan.beacon.frequencies_hz.iter().copied().any(here) {
        roles.push(Role::Beacon);
    }
    if plan.ping.frequencies_hz.iter().copied().any(here) {
        roles.push(Role::PingSlot);
    }
    if plan.relay.iter().any(|r| here(r.wor_hz)) {
        roles.push(Role::RelayWor);
    }
    if plan.relay.iter().any(|r| here(r.ack_hz)) {
        roles.push(Role::RelayAck);
    }
    roles
}

fn uplink_role(plan: &'static Plan, channel: u16, freq_hz: u32) -> Role {
    let block = plan.uplink_blocks.iter().find(|b| b.contains(channel));
    let join = match plan.join.channels {
        JoinChannels::Listed(channels) => channels.iter().any(|c| c.number == channel),
        JoinChannels::AnyUplink(_) => true,
        JoinChannels::Common { .. } => {
            plan.common_join(freq_hz).is_some_and(|c| c.plan == plan.name)
        }
    };
    let dr = block.map_or(0, |b| b.dr_min);
    let modulation = plan.dr(crate::frame::Direction::Uplink, dr);
    let rx1 = modulation.and_then(|m| plan.rx1(freq_hz, m, 0, false));
    Role::Uplink {
        channel,
        bw_khz: block.map(|b| b.bw_khz),
        sub_band: plan.sub_band(channel),
        join,
        rx1_hz: rx1.map(|w| w.freq_hz),
    }
}

/// Two frequencies nearer than this are the same: gateways report a synthesiser step beside it.
const SAME_HZ: u32 = 1000;
