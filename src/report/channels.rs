//! The channels that a node used, against those of the plan.

use std::collections::{BTreeMap, BTreeSet};

use super::{Subject, data, words};
use crate::{
    frame::{CfList, CfListType},
    id::Eui64,
    region::{ChannelHit, JoinFit, Plan, PlanKind},
    trace::{Opening, Transmission},
};

/// What the frames of a node say of the dial.
#[derive(Debug)]
pub(crate) struct Channels {
    /// The plan, where one is known.
    pub(crate) plan: Option<&'static Plan>,
    /// The part of the dial that is drawn, Hz.
    pub(crate) span: (u32, u32),
    /// Who has which frequencies.
    pub(crate) lanes: Vec<Lane>,
    /// The frequencies used, lowest first.
    pub(crate) uses: Vec<Use>,
}

/// Frequencies of one kind.
#[derive(Debug)]
pub(crate) struct Lane {
    pub(crate) label: String,
    pub(crate) kind: LaneKind,
    /// Frequency, how many frames, and whether it is off the plan.
    pub(crate) marks: Vec<(u32, usize, bool)>,
}

/// What the frequencies of a lane are.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(crate) enum LaneKind {
    /// Where something may be.
    Allowed,
    /// Where something was.
    Used,
}

/// A frequency that was used.
#[derive(Debug)]
pub(crate) struct Use {
    pub(crate) freq_hz: u32,
    pub(crate) requests: usize,
    pub(crate) data: usize,
    pub(crate) words: String,
    pub(crate) off_plan: bool,
}

pub(super) fn of(subject: Subject<'_>) -> Option<Channels> {
    let plan = subject.diagnosis.plan;
    let given = given(subject);
    let uses = uses(subject, plan, &given);
    let (first, last) = (uses.first()?.freq_hz, uses.last()?.freq_hz);
    let mut lanes = Vec::new();
    if let Some(plan) = plan {
        lanes.push(allowed(format!("{}: join channels", plan.name), join_channels(plan)));
    }
    if !given.is_empty() {
        lanes.push(allowed("given by the CFList".into(), given));
    }
    lanes.extend(plan.and_then(|plan| masked(subject, plan)));
    let heard_by = heard_by(subject);
    for gateway in &subject.roster.gateways {
        let matters = heard_by.is_empty() || heard_by.contains(&gateway.eui);
        if matters && !gateway.listens.is_empty() && lanes.len() < MOST_LANES {
            let name = gateway.name.as_deref().map(short);
            let name = name.unwrap_or_else(|| gateway.eui.to_string());
            let listens = gateway.listens.iter().copied().collect();
            lanes.push(allowed(format!("gateway {name} listens"), listens));
        }
    }
    let lane_of = |label: &str, count: fn(&Use) -> usize| {
        let marks: Vec<_> = uses.iter().map(|u| (u.freq_hz, count(u), u.off_plan)).collect();
        let marks: Vec<_> = marks.into_iter().filter(|(_, n, _)| *n > 0).collect();
        (!marks.is_empty()).then(|| Lane { label: label.into(), kind: LaneKind::Used, marks })
    };
    lanes.extend(lane_of("requests of the node", |u| u.requests));
    lanes.extend(lane_of("data of the node", |u| u.data));
    let marked = lanes.iter().flat_map(|lane| &lane.marks).map(|(hz, ..)| *hz);
    // One stray frequency far away would press all others into a line.
    let near = |hz: &u32| plan.is_none_or(|plan| plan.in_band(*hz)) || (first..=last).contains(hz);
    let marked: Vec<u32> = marked.filter(near).collect();
    let low = marked.iter().min().copied()?;
    let high = marked.iter().max().copied()?;
    let edge = ((high - low) / 20).max(100_000);
    let span = (low.saturating_sub(edge), high.saturating_add(edge));
    Some(Channels { plan, span, lanes, uses })
}

/// The channels that the firmware has switched on.
fn masked(subject: Subject<'_>, plan: &Plan) -> Option<Lane> {
    let words = subject.entry?.firmware.as_ref()?.channel_mask.as_ref()?;
    let is_on = |channel: &u16| {
        words.get(usize::from(channel / 16)).is_some_and(|word| word >> (channel % 16) & 1 == 1)
    };
    let channels = plan.channels().into_iter().filter(is_on);
    let freqs = channels.filter_map(|channel| plan.channel_frequency(channel)).collect();
    Some(allowed("channel mask of the firmware".into(), freqs))
}

fn heard_by(subject: Subject<'_>) -> BTreeSet<Eui64> {
    let asked = subject.node.attempts.iter().map(|attempt| &attempt.heard);
    let seen = data::of(subject.node);
    let sent = seen.iter().filter_map(|seen| seen.data.heard());
    asked.chain(sent).flat_map(Transmission::sightings).filter_map(|s| s.gateway).collect()
}

/// A name that a label of a drawing has room for.
fn short(name: &str) -> String {
    if name.chars().count() <= LONGEST {
        return name.to_owned();
    }
    name.chars().take(LONGEST - 1).chain(['\u{2026}']).collect()
}

fn allowed(label: String, freqs: BTreeSet<u32>) -> Lane {
    let marks = freqs.into_iter().map(|hz| (hz, 0, false)).collect();
    Lane { label, kind: LaneKind::Allowed, marks }
}

fn join_channels(plan: &Plan) -> BTreeSet<u32> {
    let channels = plan.channels().into_iter().filter_map(|c| plan.channel_frequency(c));
    match plan.join.channels {
        crate::region::JoinChannels::Listed(listed) => listed.iter().map(|c| c.freq_hz).collect(),
        crate::region::JoinChannels::AnyUplink(_) => channels.collect(),
        crate::region::JoinChannels::Common { table, .. } => {
            table.iter().map(|c| c.uplink_hz).collect()
        }
    }
}

/// The frequencies that accepts of the node's own keys gave it.
fn given(subject: Subject<'_>) -> BTreeSet<u32> {
    let answers = subject.node.attempts.iter().flat_map(|attempt| &attempt.answers);
    let own = |opening: &&Opening| Some(opening.key.node) == subject.node.index;
    let lists = answers.filter_map(|answer| {
        answer.openings.iter().find(own).and_then(|opening| opening.opened.accept.cf_list)
    });
    let frequencies = lists.filter(|list| list.kind() == CfListType::Frequencies);
    frequencies.flat_map(CfList::frequencies).filter(|hz| *hz != 0).collect()
}

fn uses(subject: Subject<'_>, plan: Option<&'static Plan>, given: &BTreeSet<u32>) -> Vec<Use> {
    let mut uses: BTreeMap<u32, Use> = BTreeMap::new();
    let fresh =
        |freq_hz| Use { freq_hz, requests: 0, data: 0, words: String::new(), off_plan: false };
    for attempt in &subject.node.attempts {
        let seen = attempt.heard.best();
        let Some(hz) = seen.freq_hz else { continue };
        let one = uses.entry(hz).or_insert_with(|| fresh(hz));
        one.requests += 1;
        if let (Some(plan), Some(modulation)) = (plan, seen.modulation) {
            let fit = plan.join_fit(hz, modulation);
            // One request beside the plan is enough to show.
            if one.words.is_empty() || !fit.is_fit() {
                one.words = fit_words(fit, hz, plan);
                one.off_plan = !fit.is_fit();
            }
        }
    }
    for seen in data::of(subject.node) {
        let Some(hz) = seen.data.heard().and_then(|heard| heard.best().freq_hz) else { continue };
        let one = uses.entry(hz).or_insert_with(|| fresh(hz));
        one.data += 1;
        if let Some(plan) = plan
            && one.words.is_empty()
        {
            (one.words, one.off_plan) = data_words(hz, plan, given);
        }
    }
    uses.into_values().collect()
}

fn fit_words(fit: JoinFit, hz: u32, plan: &Plan) -> String {
    match fit {
        JoinFit::Fits { channel } => format!("channel {channel}"),
        JoinFit::Inexact { channel, offset_hz } => {
            format!("channel {channel}, {offset_hz:+} Hz next to it")
        }
        JoinFit::WrongRate { channel } => format!("channel {channel}, at a rate not for joins"),
        JoinFit::NotAJoinChannel { channel } => format!("channel {channel}, not for joins"),
        JoinFit::OffGrid { nearest, .. } => {
            let nearest_hz = plan.channel_frequency(nearest).unwrap_or(hz);
            format!("no join channel; the nearest is {nearest} on {}", words::mhz(nearest_hz))
        }
        JoinFit::OutOfBand => format!("outside the band of {}", plan.name),
    }
}

fn data_words(hz: u32, plan: &Plan, given: &BTreeSet<u32>) -> (String, bool) {
    if let Some(hit) = plan.nearest_uplink(hz, None).filter(ChannelHit::is_on_channel) {
        return (format!("channel {}", hit.channel), false);
    }
    if given.iter().any(|have| have.abs_diff(hz) < 1_000) {
        return ("given by the CFList".into(), false);
    }
    match (plan.in_band(hz), plan.kind) {
        // A network may give a channel by command, in a part that was not captured.
        (true, PlanKind::Dynamic) => {
            ("no default channel; the network may have given it".into(), false)
        }
        (true, PlanKind::Fixed) => ("no channel of the plan".into(), true),
        (false, _) => (format!("outside the band of {}", plan.name), true),
    }
}

/// Characters of a gateway's name in a label.
const LONGEST: usize = 20;
/// Lanes of gateways beyond these would hide the node's own.
const MOST_LANES: usize = 6;
