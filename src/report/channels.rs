//! The channels that a node used, against those of the plan.

use std::collections::{BTreeMap, BTreeSet};

use super::{Subject, data, words};
use crate::{
    frame::{CfList, CfListType},
    region::{JoinFit, Plan, PlanKind},
    trace::Opening,
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
    pub(crate) kind: Kind,
    /// Frequency, how many frames, and whether it is off the plan.
    pub(crate) marks: Vec<(u32, usize, bool)>,
}

/// What the frequencies of a lane are.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(crate) enum Kind {
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
    for gateway in &subject.roster.gateways {
        if !gateway.listens.is_empty() && lanes.len() < MOST_LANES {
            let name = gateway.name.clone().unwrap_or_else(|| gateway.eui.to_string());
            let listens = gateway.listens.iter().copied().collect();
            lanes.push(allowed(format!("gateway {name} listens"), listens));
        }
    }
    let used = |label: &str, count: fn(&Use) -> usize| {
        let marks: Vec<_> = uses.iter().map(|u| (u.freq_hz, count(u), u.off_plan)).collect();
        let marks: Vec<_> = marks.into_iter().filter(|(_, n, _)| *n > 0).collect();
        (!marks.is_empty()).then(|| Lane { label: label.into(), kind: Kind::Used, marks })
    };
    lanes.extend(used("requests of the node", |u| u.requests));
    lanes.extend(used("data of the node", |u| u.data));
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

fn allowed(label: String, freqs: BTreeSet<u32>) -> Lane {
    let marks = freqs.into_iter().map(|hz| (hz, 0, false)).collect();
    Lane { label, kind: Kind::Allowed, marks }
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
        let used = uses.entry(hz).or_insert_with(|| fresh(hz));
        used.requests += 1;
        if let (Some(plan), Some(modulation)) = (plan, seen.modulation) {
            let fit = plan.join_fit(hz, modulation);
            // One request beside the plan is enough to show.
            if used.words.is_empty() || !fit.is_fit() {
                used.words = fit_words(fit, hz, plan);
                used.off_plan = !fit.is_fit();
            }
        }
    }
    for seen in data::of(subject.node) {
        let Some(hz) = seen.data.heard().and_then(|heard| heard.best().freq_hz) else { continue };
        let used = uses.entry(hz).or_insert_with(|| fresh(hz));
        used.data += 1;
        if let Some(plan) = plan
            && used.words.is_empty()
        {
            (used.words, used.off_plan) = data_words(hz, plan, given);
        }
    }
    uses.into_values().collect()
}

fn fit_words(fit: JoinFit, hz: u32, plan: &Plan) -> String {
    match fit {
        JoinFit::Fits { channel } => format!("channel {channel}"),
        JoinFit::Inexact { channel, offset_hz } => {
            format!("channel {channel}, {offset_hz:+} Hz beside it")
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
    if let Some(hit) = plan.nearest_uplink(hz, None).filter(|hit| hit.is_on_channel()) {
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

/// Lanes of gateways beyond these would hide the node's own.
const MOST_LANES: usize = 6;
