//! The frames of a session, each against the limits of its plan.

use super::super::Story;
use crate::{
    frame::{DataFrame, Direction},
    radio::{Modulation, time_on_air},
    region::{ChannelHit, Plan, PlanKind},
    trace::settings::By,
};

/// One transmission of the node.
#[derive(Clone, Copy, Debug)]
pub(in crate::ladder) struct Sent {
    /// Its place in the session's frames.
    pub(in crate::ladder) place: usize,
    /// Its turn.
    pub(in crate::ladder) turn: usize,
    pub(in crate::ladder) hz: u32,
    pub(in crate::ladder) rate: Modulation,
    /// The data rate's number, where the plan has it.
    pub(in crate::ladder) dr: Option<u8>,
    /// Lowest and highest data rate of its channel.
    pub(in crate::ladder) range: Option<(u8, u8)>,
    /// Whether it is on a channel of the node at a data rate that the channel allows; `None` where that
    /// is not known.
    pub(in crate::ladder) is_on_plan: Option<bool>,
    /// Whether its channel is one of the node's; `None` where that is not known.
    pub(in crate::ladder) has_channel: Option<bool>,
}

/// Returns the transmissions whose frequency and data rate are known.
pub(in crate::ladder) fn all(story: &Story<'_>, plan: &'static Plan) -> Vec<Sent> {
    let mut out = Vec::new();
    for (turn, own) in story.turns().iter().enumerate() {
        for place in own.sent.iter().copied() {
            let Some(best) = story.heard(place).map(crate::trace::Transmission::best) else {
                continue;
            };
            if let (Some(hz), Some(rate)) = (best.freq_hz, best.modulation) {
                out.push(sent(story, plan, turn, place, hz, rate));
            }
        }
    }
    out
}

fn sent(
    story: &Story<'_>,
    plan: &'static Plan,
    turn: usize,
    place: usize,
    hz: u32,
    rate: Modulation,
) -> Sent {
    let dr = plan.dr_of(Direction::Uplink, rate);
    let (range, has_channel, is_allowed) = match plan.kind {
        PlanKind::Fixed => on_fixed(plan, hz, rate, dr),
        PlanKind::Dynamic => on_dynamic(story, turn, hz, dr),
    };
    let is_on_plan = match (has_channel, is_allowed) {
        (Some(false), _) | (_, Some(false)) => Some(false),
        (Some(true), Some(true)) => Some(true),
        _ => None,
    };
    Sent { place, turn, hz, rate, dr, range, is_on_plan, has_channel }
}

type OnChannel = (Option<(u8, u8)>, Option<bool>, Option<bool>);

/// Every channel of a fixed plan is numbered by the plan.
fn on_fixed(plan: &Plan, hz: u32, rate: Modulation, dr: Option<u8>) -> OnChannel {
    let bw = match rate {
        Modulation::Lora { bw_khz, .. } => Some(bw_khz),
        // LR-FHSS is wider than the channel on whose centre it lies: its place is not held against them.
        Modulation::Fsk { .. } | Modulation::LrFhss { .. } => {
            return (None, None, dr.map(|_| true));
        }
    };
    let hit = plan.nearest_uplink(hz, bw).filter(ChannelHit::is_on_channel);
    let range = hit.and_then(|hit| {
        let block = plan.uplink_blocks.iter().find(|block| block.contains(hit.channel))?;
        Some((block.dr_min, block.dr_max))
    });
    let allowed = match (dr, range) {
        (None, _) => Some(false),
        (Some(dr), Some((low, high))) => Some((low..=high).contains(&dr)),
        (Some(_), None) => None,
    };
    (range, Some(hit.is_some()), allowed)
}

/// The channels of a dynamic plan are what the accept and MAC commands made of them.
fn on_dynamic(story: &Story<'_>, turn: usize, hz: u32, dr: Option<u8>) -> OnChannel {
    let belief = story.at(turn);
    let own: Vec<_> = belief.channels_at(hz).map(|(_, held)| held).collect();
    let range = own.iter().find_map(|held| held.value()).map(|own| (own.dr_min, own.dr_max));
    let known = !own.is_empty() && own.iter().all(|held| held.is_known());
    let has = match (own.is_empty(), belief.all_channels) {
        (false, _) => Some(true),
        (true, true) => Some(false),
        (true, false) => None,
    };
    let Some(dr) = dr else { return (range, has, Some(false)) };
    let fits = own.iter().any(|held| held.all().any(|c| (c.dr_min..=c.dr_max).contains(&dr)));
    let allowed = if fits { Some(true) } else { known.then_some(false) };
    (range, has, allowed)
}

/// A transmission that is longer than UplinkDwellTime allows.
#[derive(Clone, Copy, Debug)]
pub(in crate::ladder) struct TooLong {
    pub(in crate::ladder) sent: Sent,
    /// Time on air, microseconds.
    pub(in crate::ladder) us: i64,
    /// Who set the limit.
    pub(in crate::ladder) by: By,
}

/// Returns the uplinks that are longer than the dwell time in force allows.
pub(in crate::ladder) fn over_dwell(story: &Story<'_>, plan: &'static Plan) -> Vec<TooLong> {
    let limit_us = i64::from(plan.dwell.uplink_ms) * 1_000;
    if limit_us == 0 {
        return Vec::new();
    }
    let mut out = Vec::new();
    for sent in all(story, plan) {
        let belief = story.at(sent.turn);
        // By law in US915: for channels of 125 kHz alone.
        let counts =
            plan.dwell.tx_param_setup || matches!(sent.rate, Modulation::Lora { bw_khz: 125, .. });
        if belief.up_dwell.sure() != Some(&true) || !counts {
            continue;
        }
        let octets = story.heard(sent.place).map_or(0, |heard| heard.octets.len());
        let air = time_on_air(sent.rate, octets, Direction::Uplink);
        if let Some(us) = air.and_then(|air| i64::try_from(air.as_micros()).ok())
            && us > limit_us
        {
            out.push(TooLong { sent, us, by: belief.up_dwell.by() });
        }
    }
    out
}

/// A frame with more bytes than its data rate allows.
#[derive(Clone, Copy, Debug)]
pub(in crate::ladder) struct Oversize {
    pub(in crate::ladder) place: usize,
    /// Bytes of MACPayload.
    pub(in crate::ladder) octets: usize,
    /// As many as are allowed.
    pub(in crate::ladder) most: u8,
    pub(in crate::ladder) rate: Modulation,
}

/// Bytes of MACPayload: FHDR is 7 bytes and FOpts; FPort is one.
pub(in crate::ladder) fn mac_payload(frame: &DataFrame) -> usize {
    let payload = frame.payload.as_ref().map_or(0, |payload| 1 + payload.frm.len());
    7 + usize::from(frame.fopts.len()) + payload
}

/// Returns the frames, both ways, that are longer than the plan allows at their data rate.
pub(in crate::ladder) fn oversize(story: &Story<'_>, plan: &'static Plan) -> Vec<Oversize> {
    let mut out = Vec::new();
    for (place, seen) in story.session.frames.iter().enumerate() {
        let frame = seen.data.frame();
        let modulation = match story.heard(place) {
            Some(heard) => heard.best().modulation,
            None => story.sending(place).and_then(|sending| sending.modulation),
        };
        let Some(rate) = modulation else { continue };
        let Some(dr) = plan.dr_of(frame.direction(), rate) else { continue };
        // The column for dwell time counts once a command has set the limit: before that revisions and
        // countries differ.
        let turn = story.settings.turn_of.get(place).copied().flatten();
        let limited = turn.map(|turn| story.at(turn)).is_some_and(|belief| {
            belief.up_dwell.sure() == Some(&true) && matches!(belief.up_dwell.by(), By::Exchange(_))
        });
        let dwell = limited && frame.direction() == Direction::Uplink;
        let Some((most, _)) = plan.max_payload(frame.direction(), dr, dwell, false) else {
            continue;
        };
        let octets = mac_payload(frame);
        if octets > usize::from(most) {
            out.push(Oversize { place, octets, most, rate });
        }
    }
    out
}
