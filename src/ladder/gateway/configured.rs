//! What a gateway's own configuration says of its ladder.
//!
//! The file is held against the gateway's entry on the roster. What a capture proves goes before it: a file
//! may be out of date, or not the one in force.

pub(in crate::ladder) mod channels;
pub(in crate::ladder) mod eui;
pub(in crate::ladder) mod legs;
mod letters;

use self::{
    channels::Channels,
    eui::Identity,
    legs::{Legs, Stand},
};
use super::{Rung, World};
use crate::{
    fact::{Fact, fact},
    id::Eui64,
    ladder::rung::{Judgement, State},
    roster::{Gateway, GatewayConfig, gateway_config::FilePlace},
};

/// A gateway's configuration, held against the roster.
#[derive(Debug)]
pub(in crate::ladder) struct Configured<'a> {
    pub(in crate::ladder) config: &'a GatewayConfig,
    /// The roster's gateway that the file is taken to be of.
    pub(in crate::ladder) entry: Option<&'a Gateway>,
    pub(in crate::ladder) identity: Identity,
    pub(in crate::ladder) legs: Legs,
    pub(in crate::ladder) channels: Channels,
    /// Whether a capture was read as well.
    captured: bool,
}

impl<'a> Configured<'a> {
    /// Returns the configuration of the gateway with that EUI, if there is one.
    pub(in crate::ladder) fn of(world: &World<'a>, eui: Option<Eui64>) -> Option<Self> {
        let eui = eui?;
        let listed = world.roster.gateways.iter().find_map(|entry| {
            let config = entry.config.as_ref()?;
            (speaks_as(world, entry, config) == eui).then_some((config, Some(entry)))
        });
        let loose = || {
            let own =
                |config: &&GatewayConfig| config.eui.as_ref().is_some_and(|own| own.value == eui);
            world.roster.loose_configs.iter().find(own).map(|config| (config, None))
        };
        let (config, entry) = listed.or_else(loose)?;
        let identity = Identity::of(world, config, entry);
        let is_of_entry = !matches!(identity, Identity::NotInForce(_) | Identity::Unlike(_));
        let (plan, sub_band) = (world.plan_of(entry), world.sub_band_of(entry));
        Some(Self {
            config,
            entry,
            legs: entry
                .filter(|_| is_of_entry)
                .map_or_else(Legs::default, |entry| Legs::of(config, entry)),
            channels: if is_of_entry {
                Channels::of(config, plan, sub_band)
            } else {
                Channels::default()
            },
            identity,
            captured: world.captured,
        })
    }

    /// Adds what the file says to what a rung was judged.
    pub(super) fn amend(&self, rung: Rung, judged: Judgement) -> Judgement {
        match rung {
            Rung::Speaks => self.speaks(judged),
            Rung::Known => self.known(judged),
            Rung::UplinkAcknowledged => self.leg(&[&self.legs.server, &self.legs.uplink], judged),
            Rung::DownlinkOpen => self.leg(&[&self.legs.downlink], judged),
            Rung::OnPlan => self.on_plan(judged),
            Rung::Clock | Rung::Hears | Rung::Sends => judged,
        }
    }

    fn speaks(&self, judged: Judgement) -> Judgement {
        match &self.identity {
            Identity::NotInForce(fact) => {
                with(Judgement::broken(fact.clone()), self.captured(judged))
            }
            _ => judged,
        }
    }

    fn known(&self, judged: Judgement) -> Judgement {
        match (&self.identity, self.captured) {
            (Identity::Agrees(fact), false) => Judgement::proven(fact.clone()),
            (Identity::Near(fact) | Identity::Unlike(fact) | Identity::NotListed(fact), false) => {
                Judgement::broken(fact.clone())
            }
            (Identity::Near(fact), true) if judged.state == State::Unknown => {
                with(Judgement::broken(fact.clone()), judged.evidence)
            }
            (Identity::Near(fact) | Identity::Unlike(fact), true) => judged.and(fact.clone()),
            _ => judged,
        }
    }

    /// A flow that the capture proves to work goes where it should, whatever the file says.
    fn leg(&self, stands: &[&Stand], judged: Judgement) -> Judgement {
        let facts = stands.iter().filter_map(|stand| stand.fact()).cloned();
        let differs = stands.iter().any(|stand| matches!(stand, Stand::Differs(_)));
        match (differs, judged.state) {
            (true, State::Proven) => with(judged, facts).and(
                "the capture shows that this flow works: the file is not the one in force, or the roster \
                 is out of date",
            ),
            (true, State::Broken | State::Unknown) => {
                let told = stands.iter().filter(|stand| matches!(stand, Stand::Differs(_)));
                let mut told = told.filter_map(|stand| stand.fact()).cloned();
                let Some(first) = told.next() else { return judged };
                with(with(Judgement::broken(first), told), self.captured(judged))
            }
            (false, _) => with(judged, facts),
        }
    }

    fn on_plan(&self, judged: Judgement) -> Judgement {
        let Some((state, mut facts)) = self.channels.told() else { return judged };
        let elsewhere = self.channels.is_elsewhere();
        match (state, judged.state) {
            // What was heard was heard on the roster's channels.
            (State::Broken, State::Proven) if elsewhere => with(judged, facts).and(
                "the capture shows the channels of the roster: the file is not the one in force",
            ),
            (State::Broken, State::Proven | State::Unknown) => {
                let first = facts.remove(0);
                with(with(Judgement::broken(first), facts), self.captured(judged))
            }
            (State::Proven, State::Unknown) => {
                let first = facts.remove(0);
                with(with(Judgement::proven(first), facts), self.captured(judged))
            }
            _ => with(judged, facts),
        }
    }

    /// What a capture shows of a rung; where none was read there is nothing to say of it.
    fn captured(&self, judged: Judgement) -> Vec<Fact> {
        if self.captured { judged.evidence } else { Vec::new() }
    }
}

/// Returns a place in a file as a fact has it.
pub(super) fn place(place: &FilePlace) -> Fact {
    let FilePlace { file, line } = place.clone();
    fact!("{file} line {line}", file, line)
}

/// The EUI under which a gateway with this file sends, as far as can be told.
fn speaks_as(world: &World<'_>, entry: &Gateway, config: &GatewayConfig) -> Eui64 {
    let own = config.eui.as_ref().map_or(entry.eui, |own| own.value);
    let is_stranger = world.hears(own) && !world.lists(own);
    if is_stranger && !world.hears(entry.eui) { own } else { entry.eui }
}

/// Adds evidence to a judgement.
fn with(mut judgement: Judgement, facts: impl IntoIterator<Item = Fact>) -> Judgement {
    for fact in facts {
        judgement.add(fact);
    }
    judgement
}

/// What is said of a rung that no capture was read for.
pub(super) fn without_capture() -> Judgement {
    Judgement::unknown(fact!("only a capture shows this"))
}
