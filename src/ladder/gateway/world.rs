//! All gateways together: which of them speak, and which are registered.

use std::collections::BTreeSet;

use jiff::Timestamp;

use crate::{
    id::Eui64,
    intake::Speaker,
    region::Plan,
    roster::{Gateway, Roster},
    trace::{GatewayTrace, Trace},
};

/// What is to be known of the other gateways when one is judged.
#[derive(Debug)]
pub(in crate::ladder) struct World<'a> {
    pub(in crate::ladder) trace: &'a Trace,
    pub(in crate::ladder) roster: &'a Roster,
    /// The channel plan that the user states.
    pub(super) plan: Option<&'static Plan>,
    /// The EUIs that the server knows, as the roster says: its gateways, and those that records of nodes name.
    pub(super) registered: BTreeSet<Eui64>,
    /// The EUIs under which something was sent.
    pub(super) speaking: BTreeSet<Eui64>,
    /// Whether a capture was read at all.
    pub(super) captured: bool,
}

impl<'a> World<'a> {
    pub(in crate::ladder) fn new(
        trace: &'a Trace,
        roster: &'a Roster,
        plan: Option<&'static Plan>,
    ) -> Self {
        let listed = roster.gateways.iter().map(|gateway| gateway.eui);
        let records = roster.nodes.iter().filter_map(|node| node.record.as_ref());
        let named = records.flat_map(|record| record.gateways.iter().copied());
        let speaks = trace.gateways.iter().filter(|(_, heard)| has_spoken(heard));
        Self {
            trace,
            roster,
            plan,
            registered: listed.chain(named).collect(),
            speaking: speaks.filter_map(|(eui, _)| *eui).collect(),
            captured: true,
        }
    }

    /// What is known where no capture was read; `trace` is empty.
    pub(in crate::ladder) fn without_capture(
        trace: &'a Trace,
        roster: &'a Roster,
        plan: Option<&'static Plan>,
    ) -> Self {
        Self { captured: false, ..Self::new(trace, roster, plan) }
    }

    /// The channel plan of a gateway, as the roster or the user states it. A region that cannot be read is not
    /// one that is not stated.
    pub(super) fn plan_of(&self, entry: Option<&Gateway>) -> Option<&'static Plan> {
        let roster = self.roster;
        let plan = entry.and_then(|entry| entry.region).or(roster.region).or(self.plan);
        plan.filter(|_| !self.is_unread(entry, "region"))
    }

    /// The sub-band of a gateway, likewise.
    pub(super) fn sub_band_of(&self, entry: Option<&Gateway>) -> Option<u8> {
        let stated = entry.and_then(|entry| entry.sub_band).or(self.roster.sub_band);
        stated.filter(|_| !self.is_unread(entry, "sub-band"))
    }

    /// Whether what the roster says of a member cannot be read.
    fn is_unread(&self, entry: Option<&Gateway>, member: &'static str) -> bool {
        let own = entry.is_some_and(|entry| entry.unread.contains(&member));
        own || self.roster.unread.contains(&member)
    }

    /// Whether an EUI sent something that is in the capture.
    pub(super) fn hears(&self, eui: Eui64) -> bool {
        self.captured && self.speaking.contains(&eui)
    }

    /// When the capture ends.
    pub(super) fn end(&self) -> Option<Timestamp> {
        self.trace.span.map(|(_, end)| end)
    }

    /// Whether the roster lists a gateway.
    pub(super) fn lists(&self, eui: Eui64) -> bool {
        self.roster.gateways.iter().any(|gateway| gateway.eui == eui)
    }

    /// A capture that names no gateway is taken for that of the roster's only one.
    pub(in crate::ladder) fn unnamed_as(&self, eui: Option<Eui64>) -> Option<&'a GatewayTrace> {
        let only = match self.roster.gateways.as_slice() {
            [only] => Some(only.eui),
            _ => None,
        };
        let named = self.trace.gateways.keys().any(Option::is_some);
        (eui.is_some() && eui == only && !named).then(|| self.trace.gateways.get(&None)).flatten()
    }

    /// The gateways to judge: those of the roster, then the others.
    pub(in crate::ladder) fn euis(&self) -> Vec<Option<Eui64>> {
        let mut out: Vec<Option<Eui64>> = Vec::new();
        let listed = self.roster.gateways.iter().map(|gateway| Some(gateway.eui));
        let mut met = BTreeSet::new();
        // What no gateway sent, such as the lines of a radio's log, makes none.
        let heard = self.trace.gateways.iter();
        let heard = heard.filter(|(eui, heard)| eui.is_some() || has_spoken(heard));
        for eui in listed.chain(heard.map(|(eui, _)| *eui)) {
            let unnamed_is_told =
                eui.is_none() && out.iter().any(|own| self.unnamed_as(*own).is_some());
            if met.insert(eui) && !unnamed_is_told {
                out.push(eui);
            }
        }
        out
    }
}

/// Whether a gateway itself sent anything that is in the capture.
pub(super) fn has_spoken(heard: &GatewayTrace) -> bool {
    heard.counts.sent() + heard.connections.messages > 0
        || !heard.stats.is_empty()
        || heard.told.iter().any(|told| told.said.by == Speaker::Gateway)
}
