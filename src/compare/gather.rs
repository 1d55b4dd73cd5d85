//! Sources brought together: which of them speaks of which node.
//!
//! A source belongs to the node whose DevEUI it has, in either byte order; else to the one of its
//! name; else to the one whose EUIs it has exchanged, whose root key it has, or whose DevEUI is a
//! slip away; else, where one of each is left, to that. What fits nowhere is a node of its own.

use std::collections::HashMap;

use super::{Context, Subject, relation::eui_relation, slot};
use crate::{
    id::{DevEui, Eui64},
    key::Aes128Key,
    region::Plan,
    roster::{
        Claim, ClaimKind, Node, Roster,
        firmware::{Firmware, FirmwareNode, LeftOut},
        label::PrintedLabel,
        table::Table,
    },
};

/// Everything that is to be compared.
#[derive(Clone, Debug, Default)]
pub struct Sources {
    /// The roster.
    pub roster: Option<Roster>,
    /// What the firmware's sources say.
    pub firmware: Firmware,
    /// The tables of records, and what their files are called.
    pub tables: Vec<(String, Table)>,
    /// The labels, and where each is.
    pub labels: Vec<(String, PrintedLabel)>,
    /// The node that a lone source is of.
    pub node: Option<String>,
    /// The region of all that name none.
    pub region: Option<&'static Plan>,
}

/// Nodes with all that is said about them.
#[derive(Clone, Debug, Default)]
pub struct Gathered {
    /// The nodes.
    pub subjects: Vec<Subject>,
    /// What holds for all.
    pub context: Context,
    /// Sources that are of no node that another source knows.
    pub loose: Vec<Loose>,
    /// Values of the firmware that were not taken.
    pub left_out: Vec<LeftOut>,
    /// Columns of the table whose names say nothing.
    pub unknown_columns: Vec<String>,
}

/// A source that no other source speaks of.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct Loose {
    /// What kind of source it is.
    pub claim: ClaimKind,
    /// The node that it became.
    pub node: String,
}

/// What one source says about one node.
struct Said {
    name: Option<String>,
    /// What else it is called.
    id: Option<String>,
    claim: Claim,
    kind: ClaimKind,
    taken: Vec<crate::roster::firmware::Taken>,
    at: Option<String>,
}

/// Brings the sources together.
pub fn gather(sources: Sources) -> Gathered {
    let Sources { roster, firmware, tables, labels, node, region } = sources;
    let roster = roster.unwrap_or_default();
    let context =
        Context { region: region.or_else(|| only_region(&roster)), sub_band: roster.sub_band };
    let mut subjects: Vec<Subject> =
        roster.nodes.into_iter().map(|node| Subject { node, ..Subject::default() }).collect();
    let mut unknown_columns = Vec::new();
    let mut loose = Vec::new();
    let several = !subjects.is_empty();
    // the record goes first: it knows all nodes, and names them
    for (file, table) in tables {
        unknown_columns.extend(table.unknown_columns);
        let rows = table.rows.into_iter().map(|row| Said {
            name: row.name,
            id: row.id,
            claim: row.claim,
            kind: ClaimKind::Record,
            taken: Vec::new(),
            at: Some(format!("{file} line {}", row.line)),
        });
        place(rows.collect(), &mut subjects, node.as_deref(), several, &mut loose);
    }
    let several = !subjects.is_empty();
    let labels = labels.into_iter().map(|(at, PrintedLabel { claim, .. })| Said {
        name: None,
        id: None,
        claim,
        kind: ClaimKind::Label,
        taken: Vec::new(),
        at: Some(at),
    });
    place(labels.collect(), &mut subjects, node.as_deref(), several, &mut loose);
    let several = !subjects.is_empty();
    let built = firmware.nodes.into_iter().map(|FirmwareNode { name, claim, taken }| Said {
        name,
        id: None,
        claim,
        kind: ClaimKind::Firmware,
        taken,
        at: None,
    });
    place(built.collect(), &mut subjects, node.as_deref(), several, &mut loose);
    Gathered { subjects, context, loose, left_out: firmware.left_out, unknown_columns }
}

fn only_region(roster: &Roster) -> Option<&'static Plan> {
    roster.region.or_else(|| {
        let mut plans = roster.gateways.iter().filter_map(|gateway| gateway.region);
        let first = plans.next()?;
        plans.all(|plan| plan.name == first.name).then_some(first)
    })
}

/// Gives each of these sources to its node, or makes it one.
fn place(
    said: Vec<Said>,
    subjects: &mut Vec<Subject>,
    wanted: Option<&str>,
    several: bool,
    loose: &mut Vec<Loose>,
) {
    let lone = said.len() == 1;
    let mut open: Vec<Option<Said>> = said.into_iter().map(Some).collect();
    if let (true, Some(name)) = (lone, wanted) {
        let found = subjects.iter().position(|subject| same_name(&subject.node.name, name));
        let free =
            found.filter(|index| open.iter().flatten().all(|s| free(subjects, *index, s.kind)));
        if let Some((index, said)) = free.zip(free.and_then(|_| open.first_mut()?.take())) {
            give(subjects, index, said, "as asked for");
        }
    }
    for way in WAYS {
        // what a way found is settled before the next, weaker one is tried
        if way.index.is_none() && open.iter().flatten().count() > MOST_SEARCHED {
            continue;
        }
        let index = way.index.map(|build| build(subjects));
        for slot in &mut open {
            let Some(said) = slot.as_ref() else { continue };
            let found = match &index {
                Some(index) => (way.keys)(said).iter().find_map(|key| {
                    let all = index.get(key)?;
                    all.iter().copied().take(MOST_TWINS).find(|i| free(subjects, *i, said.kind))
                }),
                None => (way.search)(said, subjects),
            };
            if let (Some(index), Some(said)) = (found, found.and_then(|_| slot.take())) {
                give(subjects, index, said, way.told);
            }
        }
    }
    let left = open.iter().flatten().count();
    let kind = open.iter().flatten().next().map(|said| said.kind);
    let free_ones: Vec<usize> = kind.map_or(Vec::new(), |kind| {
        (0..subjects.len()).filter(|i| free(subjects, *i, kind)).collect()
    });
    if let (1, [only]) = (left, free_ones.as_slice())
        && let Some(said) = open.iter_mut().find_map(Option::take)
    {
        give(subjects, *only, said, ONLY_LEFT);
    }
    let known = index(subjects, |claim| claim.dev_eui.map(DevEui::hex));
    for said in open.into_iter().flatten() {
        let twins = said.claim.dev_eui.and_then(|eui| known.get(&eui.hex())).into_iter().flatten();
        let mut twins = twins.copied().take(MOST_TWINS);
        if let Some(index) = twins.find(|index| is_in_the_roster(subjects, *index, &said))
            && let Some(subject) = subjects.get_mut(index)
        {
            subject.matched.push(format!("{} as in the roster", said.kind.name()));
            continue;
        }
        let name = said
            .name
            .clone()
            .filter(|name| !name.is_empty())
            .or_else(|| said.claim.dev_eui.map(|eui| eui.to_string()));
        let name = name.unwrap_or_else(|| format!("node {}", subjects.len() + 1));
        if several {
            loose.push(Loose { claim: said.kind, node: name.clone() });
        }
        subjects.push(Subject { node: Node { name, ..Node::default() }, ..Subject::default() });
        let index = subjects.len() - 1;
        give(subjects, index, said, "");
    }
}

type Index = HashMap<String, Vec<usize>>;

/// One way to find the node of a source: by an index, or by a search.
struct Way {
    told: &'static str,
    index: Option<fn(&[Subject]) -> Index>,
    keys: fn(&Said) -> Vec<String>,
    search: fn(&Said, &[Subject]) -> Option<usize>,
}

const WAYS: [Way; 6] = [
    Way {
        told: "by its DevEUI",
        index: Some(|subjects| index(subjects, |claim| claim.dev_eui.map(DevEui::hex))),
        keys: |said| said.claim.dev_eui.map(DevEui::hex).into_iter().collect(),
        search: |_, _| None,
    },
    Way {
        told: "by its DevEUI, backwards",
        index: Some(|subjects| index(subjects, |claim| claim.dev_eui.map(DevEui::hex))),
        keys: |said| {
            said.claim.dev_eui.map(|eui| eui.0.bytes_reversed().hex()).into_iter().collect()
        },
        search: |_, _| None,
    },
    Way {
        told: "by its name",
        index: Some(|subjects| {
            let mut index = Index::new();
            for (i, subject) in subjects.iter().enumerate() {
                index.entry(bare(&subject.node.name)).or_default().push(i);
            }
            index
        }),
        keys: |said| said.name.iter().chain(&said.id).map(|name| bare(name)).collect(),
        search: |_, _| None,
    },
    Way {
        told: "by its EUIs, swapped",
        index: Some(|subjects| {
            index(subjects, |claim| Some(crosswise(claim.join_eui?.0, claim.dev_eui?.0)))
        }),
        keys: |said| {
            let both = said.claim.dev_eui.zip(said.claim.join_eui);
            both.map_or(Vec::new(), |(dev, join)| {
                vec![
                    crosswise(dev.0, join.0),
                    crosswise(dev.0.bytes_reversed(), join.0.bytes_reversed()),
                ]
            })
        },
        search: |_, _| None,
    },
    Way {
        told: "by its root key",
        index: None,
        keys: |_| Vec::new(),
        search: |said, subjects| {
            only(subjects, said, |claim| {
                slot::ROOTS.iter().any(|one| {
                    slot::ROOTS.iter().any(|other| {
                        let both = (one.key)(&said.claim).zip((other.key)(claim));
                        both.is_some_and(|(a, b)| a.same_as(b))
                    })
                })
            })
        },
    },
    Way {
        told: WITH_A_SLIP,
        index: None,
        keys: |_| Vec::new(),
        search: |said, subjects| {
            only(subjects, said, |claim| {
                let both = said.claim.dev_eui.zip(claim.dev_eui);
                both.is_some_and(|(a, b)| {
                    eui_relation(a.0, b.0).is_typing()
                        || eui_relation(a.0.bytes_reversed(), b.0).is_typing()
                })
            })
        },
    },
];

fn crosswise(a: Eui64, b: Eui64) -> String {
    format!("{} {}", a.hex(), b.hex())
}

fn index(subjects: &[Subject], of: impl Fn(&Claim) -> Option<String>) -> Index {
    let mut index = Index::new();
    for (i, subject) in subjects.iter().enumerate() {
        for key in subject.node.claims().filter_map(|(_, claim)| of(claim)) {
            let all = index.entry(key).or_default();
            if all.last() != Some(&i) {
                all.push(i);
            }
        }
    }
    index
}

/// Returns the free node that fits, if there is exactly one.
fn only(subjects: &[Subject], said: &Said, fits: impl Fn(&Claim) -> bool) -> Option<usize> {
    if subjects.len() > MOST_SEARCHED {
        return None;
    }
    let mut found = subjects.iter().enumerate().filter(|(i, subject)| {
        free(subjects, *i, said.kind) && subject.node.claims().any(|(_, claim)| fits(claim))
    });
    let (index, _) = found.next()?;
    found.next().is_none().then_some(index)
}

fn free(subjects: &[Subject], index: usize, kind: ClaimKind) -> bool {
    subjects.get(index).is_some_and(|subject| subject.node.claim(kind).is_none())
}

/// Returns whether a source only says once more what the roster has of this place of this node.
fn is_in_the_roster(subjects: &[Subject], index: usize, said: &Said) -> bool {
    let Some(subject) = subjects.get(index) else { return false };
    let Some(own) = subject.node.claim(said.kind) else { return false };
    let of_roster = match said.kind {
        ClaimKind::Firmware => subject.taken.is_empty(),
        ClaimKind::Record => subject.record_at.is_none(),
        ClaimKind::Label => subject.label_at.is_none(),
    };
    let called = |name: &String| same_name(name, &subject.node.name);
    of_roster && said.name.as_ref().is_none_or(called) && repeats(&said.claim, own)
}

/// Returns whether one claim has nothing that another does not have, too: as far as sources state it.
fn repeats(said: &Claim, own: &Claim) -> bool {
    #[expect(clippy::needless_pass_by_value, reason = "members are small and copied")]
    fn same<T: PartialEq>(said: Option<T>, own: Option<T>) -> bool {
        said.is_none() || said == own
    }
    let key = |said: Option<&Aes128Key>, own: Option<&Aes128Key>| {
        said.is_none_or(|said| own.is_some_and(|own| own.same_as(said)))
    };
    let mut keys = slot::ROOTS.iter().chain(&slot::SESSION).chain(&slot::GENERAL);
    said.unread.is_empty()
        && said.dev_eui == own.dev_eui
        && same(said.join_eui, own.join_eui)
        && same(said.dev_addr, own.dev_addr)
        && same(said.mac_version, own.mac_version)
        && same(said.activation, own.activation)
        && same(said.class, own.class)
        && keys.all(|slot| key((slot.key)(said), (slot.key)(own)))
}

fn give(subjects: &mut [Subject], index: usize, said: Said, told: &str) {
    let Some(subject) = subjects.get_mut(index) else { return };
    *subject.node.claim_mut(said.kind) = Some(said.claim);
    match said.kind {
        ClaimKind::Firmware => subject.taken = said.taken,
        ClaimKind::Record => subject.record_at = said.at,
        ClaimKind::Label => subject.label_at = said.at,
    }
    subject.loosely_matched |= [ONLY_LEFT, WITH_A_SLIP].contains(&told);
    if !told.is_empty() {
        subject.matched.push(format!("{} {told}", said.kind.name()));
    }
}

fn same_name(a: &str, b: &str) -> bool {
    bare(a) == bare(b)
}

/// Returns a name without what people write differently.
fn bare(name: &str) -> String {
    name.chars().filter(|c| c.is_alphanumeric()).flat_map(char::to_lowercase).collect()
}

/// Ways that may bring two nodes together.
const ONLY_LEFT: &str = "as the only one left";
const WITH_A_SLIP: &str = "by its DevEUI, with a typing error";
/// Nodes of one DevEUI that are asked whether they lack this source.
const MOST_TWINS: usize = 64;
/// Nodes that are searched one by one for each source without a DevEUI that fits.
const MOST_SEARCHED: usize = 2000;
