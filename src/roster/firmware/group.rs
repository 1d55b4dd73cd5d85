//! Values of a source, sorted into nodes.
//!
//! Two values of one credential at two places (`DEV_EUI_1` and `DEV_EUI_2`, two arms of an `#if`,
//! two elements of an array, two files) make these places nodes. Places without such a rival are
//! common to all nodes whose conditions they do not exclude.

use std::collections::{HashMap, HashSet};

use super::{
    Firmware, FirmwareNode, LeftOut, LeftOutWhy, MOST_TOLD,
    branch::Branches,
    member::Member,
    octets::Said,
    take::{FoundValue, Harvest, Owner},
};
use crate::{
    id::{DevEui, JoinEui},
    roster::claim::Claim,
};

/// Sorts what was found into nodes.
pub(super) fn group(harvest: Harvest) -> Firmware {
    let Harvest { mut found, mut left_out, faults, branches } = harvest;
    drop_repeats(&mut found);
    let mut sources = Places::of(&found);
    sources.find_nodes(&found);
    let mut nodes = Vec::new();
    let mut used = vec![false; found.len()];
    if sources.nodes.is_empty() && !found.is_empty() {
        sources.nodes.push(None);
    }
    let several = sources.nodes.len() > 1;
    for node in &sources.nodes {
        let mut gathered = gather(*node, several, &found, &sources, &branches, &mut used);
        gathered.name = gathered.name.or_else(|| {
            let place = sources.all.get((*node)?)?;
            called(place, &branches).filter(|_| several)
        });
        nodes.push(gathered);
    }
    keep_whole_nodes(&mut nodes, &mut left_out);
    for (value, _) in
        found.iter().zip(&used).filter(|(value, used)| !**used && value.member != Member::Name)
    {
        left_out.push(of(value, LeftOutWhy::Ambiguous));
    }
    left_out.truncate(MOST_TOLD);
    Firmware { nodes, left_out, faults }
}

/// The places that values stand at, and which of them are nodes.
struct Places<'f> {
    all: Vec<&'f Owner>,
    /// The place of each value.
    of_value: Vec<usize>,
    is_node: Vec<bool>,
    /// The nodes in order; `None` for the only one.
    nodes: Vec<Option<usize>>,
}

impl<'f> Places<'f> {
    fn of(found: &'f [FoundValue]) -> Self {
        let mut all = Vec::new();
        let mut known: HashMap<&Owner, usize> = HashMap::new();
        let of_value = found
            .iter()
            .map(|value| {
                *known.entry(&value.place).or_insert_with(|| {
                    all.push(&value.place);
                    all.len() - 1
                })
            })
            .collect();
        let is_node = vec![false; all.len()];
        Self { all, of_value, is_node, nodes: Vec::new() }
    }

    /// Marks the places that have a rival.
    fn find_nodes(&mut self, found: &[FoundValue]) {
        let mut places: HashMap<Member, HashSet<usize>> = HashMap::new();
        for (value, place) in found.iter().zip(&self.of_value) {
            if value.member.is_credential() {
                places.entry(value.member).or_default().insert(*place);
            }
        }
        for rivals in places.values().filter(|rivals| rivals.len() > 1) {
            for place in rivals {
                if let Some(is_node) = self.is_node.get_mut(*place) {
                    *is_node = true;
                }
            }
        }
        let nodes = self.is_node.iter().enumerate().filter(|(_, is_node)| **is_node);
        // no source has so many, and each is looked through for each
        self.nodes = nodes.map(|(place, _)| Some(place)).take(MOST_NODES).collect();
    }
}

/// Gathers the values of one node.
fn gather(
    node: Option<usize>,
    several: bool,
    found: &[FoundValue],
    places: &Places<'_>,
    branches: &Branches,
    used: &mut [bool],
) -> FirmwareNode {
    let here = node.and_then(|node| places.all.get(node).copied());
    let mut best: HashMap<Member, Choice> = HashMap::new();
    for (i, (value, place)) in found.iter().zip(&places.of_value).enumerate() {
        let own = node.is_none_or(|node| node == *place);
        let is_node = places.is_node.get(*place).copied().unwrap_or(false);
        let common = here.is_some_and(|here| {
            lends(&value.place, value.member, is_node, several, here, branches)
        });
        if !own && !common {
            continue;
        }
        let choice = best.entry(value.member).or_default();
        // a node's own value goes before what is common
        if own && !choice.own {
            *choice = Choice { own, values: vec![i] };
        } else if own == choice.own {
            choice.values.push(i);
        }
    }
    let mut chosen: Vec<usize> = Vec::new();
    for choice in best.values() {
        let Some(first) = choice.values.first().copied() else { continue };
        let mut all = choice.values.iter().filter_map(|i| found.get(*i));
        let same =
            found.get(first).is_some_and(|one| all.all(|value| value.said.same_as(&one.said)));
        if same {
            chosen.push(first);
            for i in &choice.values {
                if let Some(used) = used.get_mut(*i) {
                    *used = true;
                }
            }
        }
    }
    chosen.sort_unstable();
    let mut built = FirmwareNode { name: None, claim: Claim::default(), taken: Vec::new() };
    for value in chosen.iter().filter_map(|i| found.get(*i)) {
        set(&mut built, value);
    }
    built
}

#[derive(Default)]
struct Choice {
    own: bool,
    values: Vec<usize>,
}

/// Returns whether a node may take a value that stands elsewhere.
fn lends(
    place: &Owner,
    member: Member,
    is_node: bool,
    several: bool,
    here: &Owner,
    branches: &Branches,
) -> bool {
    if branches.exclude(place.branch, here.branch) {
        return false;
    }
    if !is_node {
        return !several || (place.tag.is_empty() && place.index.is_empty() && place.again == 0);
    }
    // `APP_KEY` serves `DEV_EUI_2`, but no other node's `DEV_EUI` does
    !member.is_a_nodes_own()
        && place.file == here.file
        && place.tag.is_empty()
        && place.index.is_empty()
        && place.again == 0
        && branches.path(here.branch).any(|around| around == place.branch)
}

/// Leaves out values that stand twice the same at one place.
fn drop_repeats(found: &mut Vec<FoundValue>) {
    let mut first: HashMap<(Member, Owner), Vec<usize>> = HashMap::new();
    let mut keep = vec![true; found.len()];
    for (i, value) in found.iter().enumerate() {
        let place = Owner { again: 0, ..value.place.clone() };
        let earlier = first.entry((value.member, place)).or_default();
        let repeat = earlier
            .iter()
            .take(MOST_NODES)
            .filter_map(|i| found.get(*i))
            .any(|other| other.said.same_as(&value.said));
        if repeat {
            if let Some(keep) = keep.get_mut(i) {
                *keep = false;
            }
        } else if earlier.len() < MOST_NODES {
            earlier.push(i);
        }
    }
    let mut keep = keep.into_iter();
    found.retain(|_| keep.next().unwrap_or(true));
}

/// Where some nodes have a DevEUI, what has neither that nor a DevAddr is no node.
fn keep_whole_nodes(nodes: &mut Vec<FirmwareNode>, left_out: &mut Vec<LeftOut>) {
    let whole = |node: &FirmwareNode| node.claim.dev_eui.is_some() || node.claim.dev_addr.is_some();
    if !nodes.iter().any(whole) {
        return;
    }
    nodes.retain(|node| {
        let keep = whole(node);
        if !keep {
            left_out.extend(node.taken.iter().take(MOST_TOLD).map(|taken| LeftOut {
                identifier: taken.identifier.clone(),
                file: taken.file.clone(),
                at: taken.at,
                why: LeftOutWhy::NoNode,
            }));
        }
        keep
    });
    left_out.sort_by(|a, b| (&a.file, a.at).cmp(&(&b.file, b.at)));
    left_out.dedup();
}

fn of(value: &FoundValue, why: LeftOutWhy) -> LeftOut {
    let taken = &value.taken;
    LeftOut { identifier: taken.identifier.clone(), file: taken.file.clone(), at: taken.at, why }
}

/// Returns what to call the node of a place.
fn called(place: &Owner, branches: &Branches) -> Option<String> {
    let mut parts = Vec::new();
    if !place.tag.is_empty() {
        parts.push(place.tag.clone());
    }
    let label = branches.label(place.branch);
    if !label.is_empty() {
        parts.push(label);
    }
    if !place.index.is_empty() {
        parts.push(format!("[{}]", place.index.replace('.', "][")));
    }
    if place.again > 0 {
        parts.push(format!("number {}", place.again + 1));
    }
    (!parts.is_empty()).then(|| parts.join(" "))
}

fn set(node: &mut FirmwareNode, value: &FoundValue) {
    let claim = &mut node.claim;
    match (&value.said, value.member) {
        (Said::Name(name), _) => {
            node.name = Some(name.clone());
            return;
        }
        (Said::Eui(eui), Member::DevEui) => claim.dev_eui = Some(DevEui(*eui)),
        (Said::Eui(eui), _) => claim.join_eui = Some(JoinEui(*eui)),
        (Said::Key(key), member) => {
            let key = key.clone();
            match member {
                Member::NwkKey => claim.nwk_key = Some(key.into()),
                Member::GenAppKey => claim.gen_app_key = Some(key.into()),
                Member::NwkSKey => claim.nwk_s_key = Some(key.into()),
                Member::AppSKey => claim.app_s_key = Some(key.into()),
                Member::FNwkSIntKey => claim.f_nwk_s_int_key = Some(key.into()),
                Member::SNwkSIntKey => claim.s_nwk_s_int_key = Some(key.into()),
                Member::NwkSEncKey => claim.nwk_s_enc_key = Some(key.into()),
                _ => claim.app_key = Some(key.into()),
            }
        }
        (Said::DevAddr(addr), _) => claim.dev_addr = Some(*addr),
        (Said::NetId(net_id), _) => claim.net_id = Some(*net_id),
        (Said::MacVersion(version), _) => claim.mac_version = Some(*version),
        (Said::Class(class), _) => claim.class = Some(*class),
        (Said::Activation(activation), _) => claim.activation = Some(*activation),
        (Said::Region(plan), _) => claim.region = Some(plan),
        (Said::SubBand(sub_band), _) => claim.sub_band = Some(*sub_band),
        (Said::ChannelMask(words), _) => claim.channel_mask = Some(words.clone()),
    }
    node.taken.push(value.taken.clone());
}

/// Nodes that are told apart in one source.
const MOST_NODES: usize = 1024;
