//! What a gateway listens to, as its frames and its server's setting show it, against the channel plan.

use std::collections::BTreeMap;

use super::world::World;
use crate::{
    fact::{Certainty, Fact, Value, fact},
    intake::GatewayPlan,
    ladder::finding::Finding,
    region::{ChannelHit, Plan, PlanKind},
    roster::Gateway,
    trace::GatewayTrace,
};

/// Frames, and nodes, before anything is said of the channels that a gateway receives: one node may use one.
const LEAST_FRAMES: u64 = 10;
const LEAST_NODES: usize = 5;
/// So many frames leave no doubt.
const CERTAIN_FRAMES: u64 = 30;
/// Frames on two channels of the plan that show that it listens to it.
const LEAST_PROVEN: u64 = 8;
/// The probability of chance below which one channel of several is certain, and likely.
const CERTAIN_CHANCE: f64 = 1e-9;
const LIKELY_CHANCE: f64 = 1e-4;
/// Every channel of every plan is on this grid.
const GRID_HZ: u32 = 2_500;
/// A synthesiser's step is below this, and a node that is off its channel above.
const INEXACT_HZ: i64 = 1_000;

/// What a gateway listens to, as its frames and its server's setting show it.
#[derive(Clone, Debug)]
pub(in crate::ladder) enum Listens {
    /// Too little is known.
    Open,
    /// What the roster states; by frames on so many channels, or by router_config.
    Stated(Fact),
    /// Channels of another plan, or of another sub-band.
    Elsewhere(Elsewhere),
    /// One channel of several.
    OneChannel(OneChannel),
    /// All frequencies are off the grid by a synthesiser's step: by so many hertz at the least and at the most.
    Inexact(i64, i64),
}

/// Frames that fit another plan than the stated one, or another sub-band.
#[derive(Clone, Debug)]
pub(in crate::ladder) struct Elsewhere {
    pub(in crate::ladder) stated: &'static Plan,
    /// The stated sub-band.
    pub(in crate::ladder) sub_band: Option<u8>,
    /// What they fit, the likeliest first.
    pub(in crate::ladder) fits: Vec<Fit>,
    /// The frequencies, hertz.
    pub(in crate::ladder) frequencies: Vec<u32>,
    pub(in crate::ladder) evidence: Evidence,
    pub(in crate::ladder) certainty: Certainty,
}

impl Elsewhere {
    /// Returns what is found of it, with the frequencies that show it.
    pub(in crate::ladder) fn finding(&self, gateway: Fact, remedy: &'static str) -> Finding {
        let fits = self.fits.iter().map(|fit| fit.fact()).collect();
        let mut finding = Finding::new(
            self.certainty,
            fact!(
                "{gateway} listens to {fits}, and the roster states {stated}",
                gateway,
                fits = Fact::joined(fits, " or "),
                stated = self.stated()
            ),
            remedy,
        );
        finding.add(self.fact());
        let all = self.frequencies.iter().take(MOST_TOLD).map(|hz| Value::Frequency(*hz));
        finding.add(fact!("received: {frequencies}", frequencies = Value::list(all)));
        finding
    }
}

/// Frequencies that are named.
const MOST_TOLD: usize = 16;

/// Where the frequencies are from.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(in crate::ladder) enum Evidence {
    /// So many frames, of so many nodes.
    Frames(u64, usize),
    /// router_config.
    Setting,
}

/// A plan, and a sub-band of it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(in crate::ladder) struct Fit {
    pub(in crate::ladder) plan: &'static Plan,
    pub(in crate::ladder) sub_band: Option<u8>,
}

impl Fit {
    pub(in crate::ladder) fn fact(self) -> Fact {
        if let Some(sub_band) = self.sub_band {
            fact!("{region} sub-band {sub_band}", region = self.plan.name, sub_band)
        } else {
            fact!("{region}", region = self.plan.name)
        }
    }
}

/// All frames are on one channel.
#[derive(Clone, Copy, Debug)]
pub(in crate::ladder) struct OneChannel {
    pub(in crate::ladder) freq_hz: u32,
    pub(in crate::ladder) frames: u64,
    pub(in crate::ladder) nodes: usize,
    /// How many channels it should receive.
    pub(in crate::ladder) of: usize,
    pub(in crate::ladder) chance: f64,
    pub(in crate::ladder) certainty: Certainty,
}

impl Elsewhere {
    /// Returns the plan and the sub-band that the roster states.
    pub(in crate::ladder) fn stated(&self) -> Fact {
        Fit { plan: self.stated, sub_band: self.sub_band }.fact()
    }

    /// Returns what is heard and what is stated.
    pub(in crate::ladder) fn fact(&self) -> Fact {
        let fits = Fact::joined(self.fits.iter().map(|fit| fit.fact()).collect(), " or ");
        let stated = self.stated();
        match self.evidence {
            Evidence::Frames(frames, nodes) => fact!(
                "all {frames} of {nodes} are on channels of {fits}, none is on one of {stated}",
                frames = Value::Count(frames, "frame"),
                nodes = Value::Count(nodes as u64, "node"),
                fits,
                stated
            ),
            Evidence::Setting => fact!(
                "router_config gives it channels of {fits}, and none of {stated}",
                fits,
                stated
            ),
        }
    }
}

/// The channels that the roster states for a gateway.
struct Stated {
    plan: &'static Plan,
    sub_band: Option<u8>,
    /// Their frequencies, where the roster or the plan lists them.
    listens: Vec<u32>,
}

impl Stated {
    fn of(world: &World<'_>, entry: Option<&Gateway>) -> Option<Self> {
        let plan = world.plan_of(entry)?;
        let fixed = plan.kind == PlanKind::Fixed && plan.sub_bands > 0;
        let sub_band = world.sub_band_of(entry).filter(|_| fixed);
        let listens = entry.map(|entry| entry.listens.clone()).unwrap_or_default();
        Some(Self { plan, sub_band, listens })
    }

    /// Whether a gateway that is set up so receives a frequency, as far as that can be said.
    fn covers(&self, hz: u32) -> bool {
        if !self.listens.is_empty() {
            return self.listens.iter().any(|own| own.abs_diff(hz) < GRID_HZ);
        }
        match self.sub_band {
            Some(sub_band) => sub_band_of(self.plan, hz) == Some(sub_band),
            None if self.plan.kind == PlanKind::Fixed => channel_of(self.plan, hz).is_some(),
            // The network may give any channel in the band.
            None => self.plan.in_band(hz),
        }
    }

    /// How many channels it receives.
    fn channels(&self) -> usize {
        if !self.listens.is_empty() {
            return self.listens.len();
        }
        match self.sub_band {
            // The channels of 125 kHz; few nodes use the wide one.
            Some(_) => 8,
            None if self.plan.kind == PlanKind::Fixed => 8,
            None => self.plan.listed_channels().len(),
        }
    }
}

fn channel_of(plan: &Plan, hz: u32) -> Option<u16> {
    let hits = [Some(125), Some(500), None].map(|bw| plan.nearest_uplink(hz, bw));
    hits.into_iter().flatten().find(ChannelHit::is_on_channel).map(|hit| hit.channel)
}

fn sub_band_of(plan: &Plan, hz: u32) -> Option<u8> {
    plan.sub_band(channel_of(plan, hz)?)
}

/// What a gateway listens to.
pub(super) fn listens(world: &World<'_>, entry: Option<&Gateway>, heard: &GatewayTrace) -> Listens {
    let Some(stated) = Stated::of(world, entry) else { return Listens::Open };
    if let Some(told) = heard.plan.as_deref().filter(|told| !told.uplinks.is_empty())
        && let Some(listens) = by_setting(&stated, told)
    {
        return listens;
    }
    by_frames(&stated, heard)
}

/// By the channels that the server sets.
fn by_setting(stated: &Stated, told: &GatewayPlan) -> Option<Listens> {
    let frequencies: Vec<u32> = told.uplinks.iter().map(|(hz, ..)| *hz).collect();
    let own = frequencies.iter().filter(|hz| stated.covers(**hz)).count();
    if own * 2 >= frequencies.len() {
        return Some(Listens::Stated(fact!(
            "router_config gives it {channels}, of {region}",
            channels = Value::Count(own as u64, "channel"),
            region = stated.plan.name
        )));
    }
    if own > 0 {
        return None;
    }
    let mut fits = fits(stated, &frequencies.iter().map(|hz| (*hz, 1)).collect());
    if let Some(named) = told.channels()
        && !fits.iter().any(|fit| fit.plan.name == named.name)
    {
        fits.insert(0, Fit { plan: named, sub_band: None });
    }
    (!fits.is_empty()).then(|| {
        Listens::Elsewhere(Elsewhere {
            stated: stated.plan,
            sub_band: stated.sub_band,
            fits,
            frequencies,
            evidence: Evidence::Setting,
            certainty: Certainty::Certain,
        })
    })
}

/// By the frames that it receives.
fn by_frames(stated: &Stated, heard: &GatewayTrace) -> Listens {
    let frames: u64 = heard.heard_hz.values().sum();
    let nodes = heard.receptions.nodes();
    let offsets = heard.heard_hz.keys().map(|hz| off_the_grid(*hz));
    let inexact = offsets.clone().all(|hz| hz != 0 && hz.abs() < INEXACT_HZ);
    if inexact && frames >= LEAST_FRAMES && nodes > 1 {
        let (low, high) = (offsets.clone().min(), offsets.max());
        return Listens::Inexact(low.unwrap_or_default(), high.unwrap_or_default());
    }
    let own: u64 =
        heard.heard_hz.iter().filter(|(hz, _)| stated.covers(**hz)).map(|(_, n)| *n).sum();
    let many = frames >= LEAST_FRAMES && nodes >= LEAST_NODES;
    if many && own == 0 {
        let fits = fits(stated, &heard.heard_hz);
        if !fits.is_empty() {
            let sure = frames >= CERTAIN_FRAMES && fits.len() == 1;
            return Listens::Elsewhere(Elsewhere {
                stated: stated.plan,
                sub_band: stated.sub_band,
                fits,
                frequencies: heard.heard_hz.keys().copied().collect(),
                evidence: Evidence::Frames(frames, nodes),
                certainty: if sure { Certainty::Certain } else { Certainty::Likely },
            });
        }
    }
    if many && let Some(one) = one_channel(stated, heard, frames, nodes) {
        return Listens::OneChannel(one);
    }
    let channels = heard.heard_hz.keys().filter(|hz| stated.covers(**hz)).count();
    if own >= LEAST_PROVEN && own == frames && channels > 1 {
        return Listens::Stated(fact!(
            "{frames} on {channels} of {stated}",
            frames = Value::Count(frames, "frame"),
            channels = Value::Count(channels as u64, "channel"),
            stated = Fit { plan: stated.plan, sub_band: stated.sub_band }.fact()
        ));
    }
    Listens::Open
}

/// All frames on one frequency, of many nodes, where several are received.
fn one_channel(
    stated: &Stated,
    heard: &GatewayTrace,
    frames: u64,
    nodes: usize,
) -> Option<OneChannel> {
    let mut all = heard.heard_hz.keys();
    let (&freq_hz, None) = (all.next()?, all.next()) else { return None };
    let of = stated.channels();
    let channels = f64::from(u32::try_from(of).ok()?);
    let others = i32::try_from(frames - 1).unwrap_or(i32::MAX);
    let chance = channels.powi(-others);
    let certainty = match chance {
        chance if chance < CERTAIN_CHANCE => Certainty::Certain,
        chance if chance < LIKELY_CHANCE => Certainty::Likely,
        _ => return None,
    };
    (of > 1).then_some(OneChannel { freq_hz, frames, nodes, of, chance, certainty })
}

/// The plans, and their sub-bands, on whose channels all frequencies are: those with the most frames on channels
/// that every node knows first.
fn fits(stated: &Stated, heard: &BTreeMap<u32, u64>) -> Vec<Fit> {
    let mut out: Vec<(u64, Fit)> = Vec::new();
    for plan in Plan::all().iter().copied() {
        if plan.kind == PlanKind::Fixed {
            if !heard.keys().all(|hz| channel_of(plan, *hz).is_some()) {
                continue;
            }
            let bands: Vec<Option<u8>> = heard.keys().map(|hz| sub_band_of(plan, *hz)).collect();
            let only = bands.first().copied().flatten();
            let sub_band = only.filter(|_| bands.iter().all(|band| *band == only));
            let same = plan.name == stated.plan.name;
            // Channels of several sub-bands of the stated plan are no other sub-band.
            if same && (sub_band.is_none() || sub_band == stated.sub_band) {
                continue;
            }
            // Eight channels, and a few of them used by chance.
            let score = if heard.len() > 2 { u64::MAX } else { 0 };
            out.push((score, Fit { plan, sub_band }));
        } else if plan.name != stated.plan.name {
            let is_default = |hz: u32| {
                plan.listed_channels().iter().any(|channel| channel.freq_hz.abs_diff(hz) < 1_000)
            };
            let inside = heard.keys().all(|hz| plan.in_band(*hz));
            let score: u64 = heard.iter().filter(|(hz, _)| is_default(**hz)).map(|(_, n)| *n).sum();
            if inside && score > 0 {
                out.push((score, Fit { plan, sub_band: None }));
            }
        }
    }
    out.sort_by_key(|(score, _)| std::cmp::Reverse(*score));
    // Bands overlap: of several dynamic plans the one whose own channels are used.
    let best =
        out.iter().filter(|(_, fit)| fit.plan.kind != PlanKind::Fixed).map(|(n, _)| *n).max();
    out.retain(|(score, fit)| fit.plan.kind == PlanKind::Fixed || Some(*score) == best);
    out.into_iter().map(|(_, fit)| fit).collect()
}

/// How far a frequency is from the grid on which all channels are, hertz.
fn off_the_grid(hz: u32) -> i64 {
    let above = i64::from(hz % GRID_HZ);
    let step = i64::from(GRID_HZ);
    if above > step / 2 { above - step } else { above }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_channel_of_every_plan_is_on_the_grid() {
        for plan in Plan::all() {
            for channel in plan.channels() {
                let hz = plan.channel_frequency(channel).unwrap();
                assert_eq!(off_the_grid(hz), 0, "{} {channel}: {hz}", plan.name);
            }
        }
        assert_eq!(off_the_grid(868_100_012), 12);
        assert_eq!(off_the_grid(868_099_990), -10);
    }

    #[test]
    fn frequencies_of_two_plans_name_both() {
        let plan = |name| Plan::by_name(name).unwrap();
        let stated = Stated { plan: plan("AU915"), sub_band: Some(2), listens: Vec::new() };
        let heard = [(923_200_000, 9), (923_400_000, 8)].into_iter().collect();
        let names: Vec<_> =
            fits(&stated, &heard).iter().map(|fit| (fit.plan.name, fit.sub_band)).collect();
        assert_eq!(names.first(), Some(&(plan("AS923-1").name, None)));
        assert!(names.contains(&("AU915", Some(6))), "{names:?}");
    }
}
