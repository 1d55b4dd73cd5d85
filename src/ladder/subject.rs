//! A node as rungs and causes of every ladder see it: its trace, its claims, its gateways.

mod plan;

use std::collections::BTreeSet;

use crate::{
    explore::{misreading, near_miss::Effort},
    frame::{JoinAccept, MacVersion, SealedJoinAccept},
    id::Eui64,
    intake::GatewayPlan,
    ladder::Options,
    region::Plan,
    roster::{Activation, Claim, ClaimKind, Gateway, Node, Roster},
    trace::{
        Answer, Attempt, GatewayTrace, KeyRef, Line, NodeTrace, Opening, Role, RootKey, Session,
        Trace,
    },
};

/// A root key, where it stands, and the words that name it.
#[derive(Clone, Debug)]
pub(in crate::ladder) struct LabelledRoot<'a> {
    pub(in crate::ladder) at: KeyRef,
    label: String,
    key: RootKey<'a>,
}

impl LabelledRoot<'_> {
    pub(in crate::ladder) fn as_known(&self) -> misreading::Known<'_> {
        misreading::Known {
            label: &self.label,
            key: self.key.key(),
            role: match self.at.role {
                Role::AppKey => misreading::Role::App,
                Role::NwkKey => misreading::Role::Nwk,
            },
        }
    }
}

/// What there is to know of a node before anything is judged.
#[derive(Clone, Debug)]
pub(in crate::ladder) struct Subject<'a> {
    pub(in crate::ladder) trace: &'a Trace,
    pub(in crate::ladder) roster: &'a Roster,
    pub(in crate::ladder) node: &'a NodeTrace,
    pub(in crate::ladder) entry: Option<&'a Node>,
    /// The channel plan by which it is judged.
    pub(in crate::ladder) plan: Option<&'static Plan>,
    /// The channel plan that the roster, the user or the gateways' server states.
    pub(in crate::ladder) stated: Option<&'static Plan>,
    options: Options<'a>,
    /// Whether the explorer of keys may search its widest around this node's.
    wide: bool,
}

impl<'a> Subject<'a> {
    pub(in crate::ladder) fn new(
        trace: &'a Trace,
        roster: &'a Roster,
        node: &'a NodeTrace,
        options: Options<'a>,
        wide: bool,
    ) -> Self {
        let entry = node.index.and_then(|i| roster.nodes.get(i));
        let stated = plan::stated(trace, roster, entry, options.plan);
        let plan = stated.map(|stated| plan::in_use(node, stated).unwrap_or(stated));
        Self { trace, roster, node, entry, plan, stated, options, wide }
    }

    // --- what the claims say --------------------------------------------------------------

    pub(in crate::ladder) fn record(&self) -> Option<&'a Claim> {
        self.entry?.record.as_ref()
    }

    pub(in crate::ladder) fn firmware(&self) -> Option<&'a Claim> {
        self.entry?.firmware.as_ref()
    }

    /// The version that the node has, as its firmware states it.
    pub(in crate::ladder) fn node_version(&self) -> Option<MacVersion> {
        self.firmware()?.mac_version
    }

    /// The version that the server takes the node to have.
    pub(in crate::ladder) fn record_version(&self) -> Option<MacVersion> {
        self.record()?.mac_version
    }

    /// The claim that keys are checked against: the record, or the only claim there is.
    pub(in crate::ladder) fn reference(&self) -> Option<(ClaimKind, &'a Claim)> {
        let entry = self.entry?;
        let states = |claim: &Claim| {
            claim.app_key.is_some()
                || claim.nwk_key.is_some()
                || claim.nwk_s_key.is_some()
                || claim.app_s_key.is_some()
                || claim.f_nwk_s_int_key.is_some()
                || claim.activation == Some(Activation::Abp)
        };
        [ClaimKind::Record, ClaimKind::Firmware, ClaimKind::Label]
            .into_iter()
            .find_map(|kind| entry.claim(kind).filter(|c| states(c)).map(|claim| (kind, claim)))
    }

    /// Every root key of the node's claims, with the words that name it.
    pub(in crate::ladder) fn known_roots(&self) -> Vec<LabelledRoot<'a>> {
        let (Some(index), Some(entry)) = (self.node.index, self.entry) else { return Vec::new() };
        crate::trace::root_keys(index, entry)
            .into_iter()
            .map(|(at, key)| LabelledRoot { at, label: at.to_string(), key })
            .collect()
    }

    /// Whether an accept opens as the answer to an attempt, under a key of this node.
    pub(in crate::ladder) fn opens_as_answer_to(
        &self,
        attempt: &Attempt,
        sealed: &SealedJoinAccept,
    ) -> bool {
        let Some(node) = self.entry else { return false };
        let opens = |root: &RootKey<'_>| {
            !crate::trace::open_accept(root, node, &attempt.ask, sealed).is_empty()
        };
        self.known_roots().iter().any(|root| opens(&root.key))
    }

    /// A node's name on the roster.
    pub(in crate::ladder) fn name_of(&self, index: usize) -> &'a str {
        self.roster.nodes.get(index).map_or("another node", |node| node.name.as_str())
    }

    pub(in crate::ladder) fn is_abp(&self) -> bool {
        let abp = |claim: Option<&Claim>| claim.and_then(|c| c.activation) == Some(Activation::Abp);
        self.node.attempts.is_empty() && (abp(self.firmware()) || abp(self.record()))
            || (self.node.attempts.is_empty()
                && self.entry.is_some_and(|entry| {
                    entry.claims().any(|(_, c)| c.dev_addr.is_some())
                        && !entry.claims().any(|(_, c)| c.app_key.is_some() || c.nwk_key.is_some())
                }))
    }

    /// Whether a key is of this node and not of another on the roster.
    pub(in crate::ladder) fn is_own(&self, key: &KeyRef) -> bool {
        Some(key.node) == self.node.index
    }

    /// How far the explorer of keys may search.
    pub(in crate::ladder) fn effort(&self) -> Effort<'a> {
        let mut effort = self.options.effort;
        if !self.wide {
            effort.max_digits = effort.max_digits.min(2);
        }
        effort
    }

    // --- gateways -------------------------------------------------------------------------

    /// Returns whether what gateways send to the server is in the capture, so that silence tells.
    pub(in crate::ladder) fn hears_gateways(&self) -> bool {
        self.trace.gateways.values().any(GatewayTrace::speaks)
    }

    /// The gateways whose own setting drops what this test refuses, as far as the capture shows their
    /// settings; `None` where there is one that passes it on.
    pub(in crate::ladder) fn all_drop(
        &self,
        passes: impl Fn(&GatewayPlan) -> bool,
    ) -> Option<String> {
        let mut names = Vec::new();
        for (eui, gateway) in &self.trace.gateways {
            if gateway.plan.as_ref().is_none_or(|plan| passes(plan)) {
                return None;
            }
            names.push(eui.map_or("without a name".to_owned(), |eui| eui.to_string()));
        }
        (!names.is_empty()).then(|| names.join(", "))
    }

    /// The gateways that received anything of this node.
    pub(in crate::ladder) fn heard_by(&self) -> BTreeSet<Option<Eui64>> {
        let requests = self.node.attempts.iter().map(|attempt| &attempt.heard);
        let data = self.node.sessions.iter().flat_map(|s| s.uplinks().map(|(_, heard)| heard));
        requests.chain(data).flat_map(|heard| heard.sightings().map(|seen| seen.gateway)).collect()
    }

    pub(in crate::ladder) fn gateway(&self, eui: Option<Eui64>) -> Option<&'a Gateway> {
        let eui = eui?;
        self.roster.gateways.iter().find(|g| g.eui == eui)
    }

    /// How a gateway is set up, where the capture shows what its server told it.
    fn told(&self, eui: Option<Eui64>) -> Option<&'a GatewayPlan> {
        self.trace.gateways.get(&eui)?.plan.as_deref()
    }

    /// The frequencies that a gateway receives, hertz: those that its server told it in the capture,
    /// or else those of the roster. None where neither says any.
    pub(in crate::ladder) fn listens(&self, eui: Option<Eui64>) -> Vec<u32> {
        match self.told(eui).filter(|told| !told.uplinks.is_empty()) {
            Some(told) => told.uplinks.iter().map(|(hz, ..)| *hz).collect(),
            None => self.gateway(eui).map(|gateway| gateway.listens.clone()).unwrap_or_default(),
        }
    }

    /// The channel plan of a gateway, as its server told it in the capture, or else as on the roster.
    pub(in crate::ladder) fn gateway_region(&self, eui: Eui64) -> Option<&'static Plan> {
        let told = self.told(Some(eui)).and_then(GatewayPlan::channels);
        told.or_else(|| self.gateway(Some(eui))?.region)
    }

    /// Whether roster or capture say anything of how a gateway is set up.
    pub(in crate::ladder) fn is_described(&self, eui: Option<Eui64>) -> bool {
        self.gateway(eui).is_some() || !self.listens(eui).is_empty()
    }

    /// The channels of the plan that a gateway receives, where that is known.
    pub(in crate::ladder) fn gateway_channels(&self, eui: Option<Eui64>) -> Option<Vec<u16>> {
        let plan = self.plan?;
        let listens = self.listens(eui);
        if listens.is_empty() {
            let sub_band = self.gateway(eui)?.sub_band.or(self.roster.sub_band)?;
            return Some(plan.sub_band_channels(sub_band));
        }
        let mut out: Vec<u16> = listens
            .iter()
            .filter_map(|hz| {
                let hits = [Some(125), Some(500), None].map(|bw| plan.nearest_uplink(*hz, bw));
                hits.into_iter().flatten().find(|hit| hit.offset_hz == 0).map(|hit| hit.channel)
            })
            .collect();
        out.sort_unstable();
        out.dedup();
        Some(out)
    }

    // --- attempts -------------------------------------------------------------------------

    /// Whether the node asked again after an attempt, however soon the capture ends.
    pub(in crate::ladder) fn later_than(&self, attempt: &Attempt) -> bool {
        self.node.attempts.last().is_some_and(|last| last.line() > attempt.line())
    }

    /// What is damaged between a request and the node's next one.
    pub(in crate::ladder) fn damaged_after(&self, attempt: &Attempt) -> Option<Line> {
        let asked = attempt.line();
        let next = self.node.attempts.iter().map(Attempt::line).find(|line| *line > asked);
        let within = |line: &&Line| **line > asked && next.is_none_or(|next| **line < next);
        self.trace.lacks.damaged.iter().find(within).copied()
    }

    /// Whether a later attempt follows: the node asks again.
    pub(in crate::ladder) fn asks_again(&self, attempt: usize) -> bool {
        self.node.attempts.iter().skip(attempt + 1).any(|later| later.ask.join().is_some())
    }

    /// Whether the node asks to join; a Rejoin-Request belongs to a session.
    pub(in crate::ladder) fn asks_to_join(&self) -> bool {
        self.node.attempts.iter().any(|attempt| attempt.ask.join().is_some())
    }

    /// Every answer to a Join-Request, with its attempt.
    pub(in crate::ladder) fn answers(
        &self,
    ) -> impl Iterator<Item = (usize, &'a Attempt, &'a Answer)> {
        let attempts = self.node.attempts.iter().enumerate();
        let attempts = attempts.filter(|(_, attempt)| attempt.ask.join().is_some());
        attempts.flat_map(|(i, a)| a.answers.iter().map(move |answer| (i, a, answer)))
    }

    /// The opening of an accept by one of the node's own keys.
    pub(in crate::ladder) fn own_opening(&self, answer: &'a Answer) -> Option<&'a Opening> {
        answer.openings.iter().find(|o| self.is_own(&o.key))
    }

    /// The accept that began a session.
    pub(in crate::ladder) fn accept_of(&self, session: &Session) -> Option<&'a JoinAccept> {
        let crate::trace::Origin::Accept { attempt, answer } = session.origin else { return None };
        let answer = self.node.attempts.get(attempt)?.answers.get(answer)?;
        Some(&self.own_opening(answer)?.opened.accept)
    }
}
/// The name under which a claim keeps the key that signs requests, by its version.
pub(in crate::ladder) fn signing_role(claim: &Claim) -> Option<Role> {
    let app = claim.app_key.as_ref().map(|_| Role::AppKey);
    let nwk = claim.nwk_key.as_ref().map(|_| Role::NwkKey);
    match claim.mac_version {
        Some(MacVersion::V1_1) => nwk,
        Some(_) => app,
        // Without a version: the network root key signs where there is one.
        None => nwk.or(app),
    }
}
