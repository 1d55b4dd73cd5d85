//! Whose request it is.

use super::{LONG_ROSTER, STRANGER_TRIALS, STRANGERS, Tracer, WIDE_TRIALS};
use crate::{
    crypto::{
        derive::{self, SessionKeys},
        mic::{self, RejoinKey},
    },
    id::{DevEui, Eui64, digits_apart},
    key::NwkKey,
    roster::Node,
    trace::{Ask, KeyRef, NodeTrace, RootKey, keys},
};

impl Tracer<'_> {
    /// Finds the node that sent a request: by DevEUI, by the key that signs it, by likeness. `None`
    /// for one stranger too many.
    pub(super) fn attribute(&mut self, ask: &Ask) -> Option<(usize, Vec<KeyRef>)> {
        let Some(dev_eui) = ask.dev_eui() else {
            return Some((self.stranger(DevEui::default())?, vec![]));
        };
        let named = self.names.of_dev_eui(dev_eui).to_vec();
        let found_before = self.named_as.get(&dev_eui).copied();
        for index in named.iter().copied().chain(found_before) {
            let holds = self.keys_that_sign(index, ask);
            if !holds.is_empty() {
                return Some((index, holds));
            }
        }
        let by_key = self.keys_of_others(dev_eui, &named, ask);
        if let Some(&index) = named.first() {
            return Some((index, by_key));
        }
        // Reversed or exchanged EUIs are no accident: they name the node more surely than a key,
        // which may be in the wrong place.
        let mut mirrored = (0..self.roster.nodes.len()).filter(|&i| self.likeness(i, ask) == 0);
        if let (Some(index), None) = (mirrored.next(), mirrored.next()) {
            return Some((index, by_key));
        }
        // The MIC covers the EUIs as sent: it names the node even when its EUI is wrong.
        let nearest = by_key.iter().min_by_key(|key| self.likeness(key.node, ask)).map(|k| k.node);
        if let Some(index) = nearest {
            let own = by_key.into_iter().filter(|key| key.node == index).collect();
            self.named_as.insert(dev_eui, index);
            return Some((index, own));
        }
        if !self.strangers.contains_key(&dev_eui) {
            let mut alike = (0..self.roster.nodes.len()).filter(|&i| self.likeness(i, ask) <= 2);
            if let (Some(index), None) = (alike.next(), alike.next()) {
                return Some((index, Vec::new()));
            }
        }
        Some((self.stranger(dev_eui)?, Vec::new()))
    }

    /// The keys of nodes other than those named under which a request holds.
    ///
    /// On a long roster that takes a while: what a few requests under a DevEUI did not find is no
    /// more looked for.
    fn keys_of_others(&mut self, dev_eui: DevEui, named: &[usize], ask: &Ask) -> Vec<KeyRef> {
        let long = self.roster.nodes.len() > LONG_ROSTER;
        let vain = self.in_vain.get(&dev_eui).copied().unwrap_or_default();
        if long && (vain >= WIDE_TRIALS || self.in_vain.len() >= STRANGERS && vain == 0) {
            return Vec::new();
        }
        let others = (0..self.roster.nodes.len()).filter(|index| !named.contains(index));
        let found: Vec<KeyRef> =
            others.take(STRANGER_TRIALS).flat_map(|i| self.keys_that_sign(i, ask)).collect();
        if found.is_empty() && long {
            self.in_vain.insert(dev_eui, vain + 1);
        }
        found
    }

    /// The place of a node that is on no roster; `None` where there are too many.
    pub(super) fn stranger(&mut self, dev_eui: DevEui) -> Option<usize> {
        if let Some(&index) = self.strangers.get(&dev_eui) {
            return Some(index);
        }
        if self.strangers.len() == STRANGERS {
            return None;
        }
        self.trace.nodes.push(NodeTrace::default());
        let index = self.trace.nodes.len() - 1;
        self.strangers.insert(dev_eui, index);
        Some(index)
    }

    /// How far the identity sent is from the claims of a node of the roster.
    fn likeness(&self, index: usize, ask: &Ask) -> u32 {
        self.roster.nodes.get(index).map_or(u32::MAX, |node| likeness(node, ask))
    }

    fn keys_that_sign(&self, index: usize, ask: &Ask) -> Vec<KeyRef> {
        let Some(node) = self.roster.nodes.get(index) else { return Vec::new() };
        let keys = keys::root_keys(index, node);
        match ask {
            Ask::Join(request) => keys
                .into_iter()
                .filter(|(_, key)| {
                    let check = match key {
                        RootKey::App(key) => mic::check_join_request(*key, request),
                        RootKey::Nwk(key) => mic::check_join_request(*key, request),
                    };
                    check.is_ok()
                })
                .map(|(at, _)| at)
                .collect(),
            Ask::Rejoin(request) => {
                let Some(dev_eui) = request.body.dev_eui() else { return Vec::new() };
                let session_keys: Vec<_> = self
                    .trace
                    .nodes
                    .get(index)
                    .into_iter()
                    .flat_map(|n| n.sessions.iter().rev())
                    .flat_map(|s| &s.candidates)
                    .collect();
                keys.into_iter()
                    .filter(|(at, key)| {
                        let js = derive::js_int_key(&NwkKey::from(key.key().clone()), dev_eui);
                        let holds = |key| mic::check_rejoin_request(key, request).is_ok();
                        holds(RejoinKey::JoinServer(&js))
                            || session_keys.iter().any(|c| match &c.keys {
                                SessionKeys::V1_1 { s_nwk_s_int_key: key, .. } => {
                                    c.root == Some(*at) && holds(RejoinKey::Session(key))
                                }
                                SessionKeys::V1_0 { .. } => false,
                            })
                    })
                    .map(|(at, _)| at)
                    .collect()
            }
        }
    }

    /// The only node of the roster whose DevEUI stands somewhere in these octets.
    pub(super) fn named_within(&self, octets: &[u8]) -> Option<usize> {
        let places = octets.windows(8).filter_map(|w| <[u8; 8]>::try_from(w).ok());
        let mut named = places
            .flat_map(|w| [Eui64::from_wire(w), Eui64::new(w)])
            .filter_map(|eui| self.names.of_dev_eui(DevEui(eui)).first().copied());
        let first = named.next()?;
        named.all(|other| other == first).then_some(first)
    }
}

/// How far the identity sent is from a node's claims: digits that differ, 0 for a reversal or an
/// exchange of the two, large for strangers.
pub(super) fn likeness(node: &Node, ask: &Ask) -> u32 {
    let (Some(DevEui(dev)), join) = (ask.dev_eui(), ask.join_eui()) else { return u32::MAX };
    node.claims()
        .filter_map(|(_, claim)| {
            let DevEui(own) = claim.dev_eui?;
            let exchanged = claim.join_eui.map(|j| j.0) == Some(dev)
                && join.map(|j| j.0) == Some(own)
                && dev != own;
            if exchanged || own == dev || own.bytes_reversed() == dev {
                return Some(0);
            }
            Some(digits_apart(own.octets(), dev.octets()))
        })
        .min()
        .unwrap_or(u32::MAX)
}
