//! A gateway: what the capture holds of it, what the roster says, and its ladder.

use super::{
    Rung,
    clocks::{self, ClockFault},
    configured::Configured,
    flows::{self, Answers},
    identity::Known,
    listening::{self, Listens},
    voice::Speaks,
    world::World,
};
use crate::{
    fact::{Fact, fact},
    id::Eui64,
    intake::Leg,
    ladder::rung::{Ladder, State},
    region::Plan,
    roster::{Gateway, Roster},
    trace::{Figures, Flow, GatewayTrace, NetworkError, Trace},
};

/// A gateway and its ladder.
#[derive(Debug)]
pub(in crate::ladder) struct Case<'a> {
    pub(in crate::ladder) trace: &'a Trace,
    pub(in crate::ladder) roster: &'a Roster,
    pub(in crate::ladder) eui: Option<Eui64>,
    /// What the capture holds of it.
    pub(in crate::ladder) heard: Option<&'a GatewayTrace>,
    /// Its entry on the roster.
    pub(in crate::ladder) entry: Option<&'a Gateway>,
    /// The channel plan that the roster or the user states for it.
    pub(in crate::ladder) plan: Option<&'static Plan>,
    /// The sum of its statistics.
    pub(in crate::ladder) figures: Figures,
    pub(in crate::ladder) speaks: Speaks<'a>,
    pub(in crate::ladder) known: Known,
    /// PUSH_DATA and PUSH_ACK.
    pub(in crate::ladder) up: Answers,
    /// PULL_DATA and PULL_ACK.
    pub(in crate::ladder) down: Answers,
    pub(in crate::ladder) clock: Vec<ClockFault>,
    pub(in crate::ladder) listens: Listens,
    /// Its own configuration.
    pub(in crate::ladder) config: Option<Configured<'a>>,
    pub(in crate::ladder) ladder: Ladder<Rung>,
}

impl<'a> Case<'a> {
    pub(in crate::ladder) fn new(world: &World<'a>, eui: Option<Eui64>) -> Self {
        let &World { trace, roster, .. } = world;
        let heard = trace.gateways.get(&eui).or_else(|| world.unnamed_as(eui));
        let entry = roster.gateways.iter().find(|gateway| Some(gateway.eui) == eui);
        let figures = heard.map(|heard| heard.periods.figures()).unwrap_or_default();
        let mut case = Self {
            trace,
            roster,
            eui,
            heard,
            entry,
            plan: world.plan_of(entry),
            figures,
            speaks: Speaks::of(world, eui, heard),
            known: Known::of(world, eui, heard),
            up: Answers::NotRecorded,
            down: Answers::NotRecorded,
            clock: Vec::new(),
            listens: Listens::Open,
            config: Configured::of(world, eui),
            ladder: Ladder::open(),
        };
        if let Some(heard) = heard {
            case.up = flows::up(heard, &figures, world.end());
            case.down = flows::down(heard, &figures, &case.up, world.end());
            case.clock = clocks::faults(heard);
            case.listens = listening::listens(world, entry, heard);
        }
        case
    }

    /// Returns how it is named in a sentence.
    pub(in crate::ladder) fn title(&self) -> Fact {
        let name = self.entry.and_then(|entry| entry.name.clone());
        match (self.eui, name) {
            (Some(gateway), Some(name)) => fact!("gateway {gateway} ({name})", gateway, name),
            (Some(gateway), None) => fact!("gateway {gateway}", gateway),
            (None, _) => "the gateway".into(),
        }
    }

    /// Returns whether a rung is broken.
    pub(in crate::ladder) fn is_broken(&self, rung: Rung) -> bool {
        self.ladder.state(rung) == State::Broken
    }

    /// Returns whether it speaks the station protocol, which has neither PUSH_ACK nor PULL_ACK.
    pub(in crate::ladder) fn is_station(&self) -> bool {
        self.heard.is_some_and(|heard| {
            heard.connections.is_used() && !heard.push.is_recorded() && !heard.pull.is_recorded()
        })
    }

    /// Returns what the network says of a flow that gets no answers.
    pub(in crate::ladder) fn network_error(&self, leg: Leg) -> Option<&'a NetworkError> {
        let heard = self.heard?;
        let (flow, answers): (&Flow, _) = match leg {
            Leg::Push => (&heard.push, &self.up),
            Leg::Pull => (&heard.pull, &self.down),
        };
        flows::network_error(heard, flow, answers)
    }

    /// Returns whether what a gateway heard at a place in time, or the answer to it, was lost on the way between
    /// it and its server, where a flow between them is broken.
    pub(in crate::ladder) fn loses(&self, order: u64) -> bool {
        let flows = [&self.up, &self.down];
        let silent = flows.iter().any(|answers| answers.silence().is_some());
        !silent || flows.iter().any(|answers| answers.stops(order))
    }
}
