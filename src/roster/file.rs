//! From the TOML tree to a roster.
//!
//! The tree is walked by hand, because a derived reader stops at the first fault and people would
//! rather mend them all at once.

use std::{borrow::Cow, collections::BTreeMap, ops::Range, path::Path};

use toml::{
    Spanned,
    de::{DeTable, DeValue},
};

use super::{
    ClaimKind, Gateway, Node, Roster,
    claim::Claim,
    error::{FaultKind, Position, RosterError, RosterFault, RosterWarning},
    from_base,
    label::Label,
    member::{KEYS, KeyMember, KeySource, MEMBERS, key_member},
    readable_by_all,
    secret::{key_env, key_file, redacted},
    value::{Value, ValueFault, in_order},
};
use crate::nearest::nearest;

/// Returns the roster, and whether keys stand in the file itself.
pub(super) fn read(text: &str, base: Option<&Path>) -> Result<(Roster, bool), RosterError> {
    let (tree, errors) = DeTable::parse_recoverable(text);
    let mut walk = Walk { text, base, faults: Vec::new(), warnings: Vec::new(), keys: false };
    if errors.is_empty() {
        let mut roster = walk.document(tree.get_ref());
        if walk.faults.is_empty() {
            look_for_twins(&roster, &mut walk.warnings);
            roster.warnings = walk.warnings;
            return Ok((roster, walk.keys));
        }
    }
    // What was recovered after a syntax error is too doubtful to be judged.
    for error in &errors {
        let span = error.span().unwrap_or_default();
        walk.fault("", &span, FaultKind::Syntax { message: redacted(error.message()) });
    }
    let mut faults = walk.faults;
    faults.sort_by_key(|fault| fault.position);
    if !errors.is_empty() {
        // One slip often upsets the rest of its line, too.
        faults.dedup_by_key(|fault| fault.position.map(|position| position.line));
    }
    faults.truncate(MOST_FAULTS);
    Err(RosterError { file: None, faults })
}

struct Walk<'t> {
    text: &'t str,
    base: Option<&'t Path>,
    faults: Vec<RosterFault>,
    warnings: Vec<RosterWarning>,
    keys: bool,
}

type Name<'t> = Spanned<Cow<'t, str>>;
type Tree<'t> = Spanned<DeValue<'t>>;

impl Walk<'_> {
    fn fault(&mut self, member: &str, span: &Range<usize>, kind: FaultKind) {
        if self.faults.len() < MOST_FAULTS {
            let position = Some(Position::of(self.text, span.start));
            self.faults.push(RosterFault { position, member: member.to_owned(), kind });
        }
    }

    fn unknown<'c>(
        &mut self,
        path: &str,
        name: &Name<'_>,
        known: impl IntoIterator<Item = &'c str>,
    ) {
        let nearest = nearest(name.get_ref(), known).map(str::to_owned);
        let member = join(path, &redacted(name.get_ref()));
        self.fault(&member, &name.span(), FaultKind::UnknownMember { nearest });
    }

    /// Takes what a member's value was read as, or its fault.
    fn take<T, E: Into<ValueFault>>(
        &mut self,
        member: &str,
        value: &Tree<'_>,
        read: Result<T, E>,
    ) -> Option<T> {
        match read.map_err(Into::into) {
            Ok(read) => Some(read),
            Err(ValueFault { kind, element: None }) => {
                self.fault(member, &value.span(), kind);
                None
            }
            Err(ValueFault { kind, element: Some((index, span)) }) => {
                self.fault(&format!("{member}[{index}]"), &span, kind);
                None
            }
        }
    }

    fn document(&mut self, document: &DeTable<'_>) -> Roster {
        let mut roster = Roster::default();
        for (name, value) in in_order(document) {
            let asked = Value(value.get_ref());
            match name.get_ref().as_ref() {
                "region" => roster.region = self.take("region", value, asked.region()),
                "sub-band" => roster.sub_band = self.take("sub-band", value, asked.sub_band()),
                "node" => {
                    for (index, (path, value)) in self.tables("node", value).enumerate() {
                        let node = self.node(&path, index, value);
                        roster.nodes.push(node);
                    }
                }
                "gateway" => {
                    for (path, value) in self.tables("gateway", value) {
                        let gateway = self.gateway(&path, value);
                        roster.gateways.extend(gateway);
                    }
                }
                _ => self.unknown("", name, ROSTER_MEMBERS),
            }
        }
        roster
    }

    /// Returns the tables of a `[[name]]`, each with its path.
    fn tables<'v>(
        &mut self,
        name: &'static str,
        value: &'v Tree<'v>,
    ) -> impl Iterator<Item = (String, &'v Tree<'v>)> + use<'v> {
        let wanted = if name == "node" { "tables [[node]]" } else { "tables [[gateway]]" };
        let array = self.take(name, value, Value(value.get_ref()).array(wanted));
        let elements = array.into_iter().flat_map(|array| array.iter());
        elements.enumerate().map(move |(index, value)| (format!("{name}[{index}]"), value))
    }

    fn node(&mut self, path: &str, index: usize, value: &Tree<'_>) -> Node {
        let mut node = Node::default();
        let table = Value(value.get_ref()).table("a table [[node]]");
        let Some(table) = self.take(path, value, table) else { return node };
        for (name, value) in in_order(table) {
            let member = join(path, name.get_ref());
            let kind = ClaimKind::ALL.into_iter().find(|kind| kind.name() == name.get_ref());
            match (name.get_ref().as_ref(), kind) {
                ("name", _) => {
                    let read = Value(value.get_ref()).name();
                    node.name = self.take(&member, value, read).unwrap_or_default();
                }
                (_, Some(kind)) => {
                    let claim = self.claim(&member, value);
                    *match kind {
                        ClaimKind::Firmware => &mut node.firmware,
                        ClaimKind::Record => &mut node.record,
                        ClaimKind::Label => &mut node.label,
                    } = Some(claim);
                }
                (_, None) => self.unknown(path, name, NODE_MEMBERS),
            }
        }
        if node.name.is_empty() {
            let dev_eui = node.claims().find_map(|(_, claim)| claim.dev_eui);
            node.name =
                dev_eui.map_or_else(|| format!("node {}", index + 1), |eui| eui.to_string());
        }
        self.hold_against_labels(&node);
        node
    }

    /// Looks for identification strings that say another EUI than the member beside them.
    fn hold_against_labels(&mut self, node: &Node) {
        for (kind, claim) in node.claims() {
            let Some(label) = label_of(claim) else { continue };
            let members = [
                ("dev-eui", claim.dev_eui != Some(label.dev_eui)),
                ("join-eui", claim.join_eui != Some(label.join_eui)),
            ];
            for (member, _) in members.into_iter().filter(|(_, differs)| *differs) {
                let node = node.name.clone();
                self.warnings.push(RosterWarning::QrDiffers { claim: kind, node, member });
            }
        }
    }

    fn claim(&mut self, path: &str, value: &Tree<'_>) -> Claim {
        let mut claim = Claim::default();
        let table = Value(value.get_ref()).table("a table of members");
        let Some(table) = self.take(path, value, table) else { return claim };
        let mut keys: Vec<(&str, &str)> = Vec::new();
        for (name, value) in in_order(table) {
            let member = join(path, name.get_ref());
            if let Some((key, source)) = key_member(name.get_ref()) {
                if let Some((_, other)) = keys.iter().find(|(role, _)| *role == key.name) {
                    let other = (*other).to_owned();
                    self.fault(&member, &name.span(), FaultKind::KeyTwice { other });
                }
                keys.push((key.name, name.get_ref()));
                let read = self.key(&mut claim, key, source, Value(value.get_ref()));
                self.take(&member, value, read);
            } else if let Some(row) = MEMBERS.iter().find(|row| row.name == name.get_ref()) {
                let read = (row.read)(&mut claim, Value(value.get_ref()));
                self.take(&member, value, read);
            } else {
                let keys: Vec<_> = KEYS
                    .iter()
                    .flat_map(|key| {
                        KeySource::ALL.map(|(suffix, _)| format!("{}{suffix}", key.name))
                    })
                    .collect();
                let known = MEMBERS.iter().map(|row| row.name);
                self.unknown(path, name, known.chain(keys.iter().map(String::as_str)));
            }
        }
        if let Some(label) = label_of(&claim) {
            claim.dev_eui.get_or_insert(label.dev_eui);
            claim.join_eui.get_or_insert(label.join_eui);
        }
        claim
    }

    fn key(
        &mut self,
        claim: &mut Claim,
        key: &KeyMember,
        source: KeySource,
        value: Value<'_>,
    ) -> Result<(), FaultKind> {
        let read = match source {
            KeySource::Here => {
                self.keys = true;
                return (key.set)(claim, value.text("32 hex digits in quotes")?)
                    .map_err(FaultKind::Key);
            }
            KeySource::File => {
                let path = from_base(self.base, value.text("the path of a file in quotes")?);
                let read = key_file(&path)?;
                if readable_by_all(&path) {
                    self.warnings.push(RosterWarning::ReadableByAll { path });
                }
                read
            }
            KeySource::Env => key_env(value.text("the name of a variable in quotes")?)?,
        };
        (key.set)(claim, &read).map_err(FaultKind::Key)
    }

    fn gateway(&mut self, path: &str, value: &Tree<'_>) -> Option<Gateway> {
        let table = Value(value.get_ref()).table("a table [[gateway]]");
        let table = self.take(path, value, table)?;
        let mut eui = None;
        let (mut region, mut sub_band, mut listens, mut called) = (None, None, Vec::new(), None);
        for (name, value) in in_order(table) {
            let member = join(path, name.get_ref());
            let asked = Value(value.get_ref());
            match name.get_ref().as_ref() {
                "eui" => {
                    let example = "16 hex digits in quotes such as \"020000fffea09442\"";
                    eui = Some(self.take(&member, value, asked.id(example)));
                }
                "region" => region = self.take(&member, value, asked.region()),
                "sub-band" => sub_band = self.take(&member, value, asked.sub_band()),
                "listens" => {
                    let read = asked.list("a list of frequencies in hertz", Value::hertz);
                    listens = self.take(&member, value, read).unwrap_or_default();
                }
                "name" => called = self.take(&member, value, asked.name()),
                _ => self.unknown(path, name, GATEWAY_MEMBERS),
            }
        }
        if eui.is_none() {
            self.fault(path, &value.span(), FaultKind::Missing { member: "eui" });
        }
        Some(Gateway { eui: eui??, region, sub_band, listens, name: called })
    }
}

fn label_of(claim: &Claim) -> Option<Label> {
    claim.qr.as_deref()?.parse().ok()
}

/// Looks for nodes and gateways that stand in the roster twice.
fn look_for_twins(roster: &Roster, warnings: &mut Vec<RosterWarning>) {
    let mut names = BTreeMap::new();
    let mut euis = BTreeMap::new();
    for (second, node) in roster.nodes.iter().enumerate() {
        let first = *names.entry(&node.name).or_insert(second);
        if first != second {
            let name = node.name.clone();
            warnings.push(RosterWarning::SameName { name, first, second });
        }
        for (claim, said) in node.claims() {
            let Some(dev_eui) = said.dev_eui else { continue };
            let (first, name) = *euis.entry((claim, dev_eui)).or_insert((second, &node.name));
            if first != second {
                let (first, second) = (name.clone(), node.name.clone());
                warnings.push(RosterWarning::SameDevEui { claim, first, second });
            }
        }
    }
    let mut gateways = BTreeMap::new();
    for (second, gateway) in roster.gateways.iter().enumerate() {
        let first = *gateways.entry(gateway.eui).or_insert(second);
        if first != second {
            warnings.push(RosterWarning::SameGateway { first, second });
        }
    }
}

fn join(path: &str, member: &str) -> String {
    if path.is_empty() { member.to_owned() } else { format!("{path}.{member}") }
}

const ROSTER_MEMBERS: [&str; 4] = ["region", "sub-band", "node", "gateway"];
const NODE_MEMBERS: [&str; 4] = ["name", "firmware", "record", "label"];
const GATEWAY_MEMBERS: [&str; 5] = ["eui", "region", "sub-band", "listens", "name"];
/// Faults told of at once.
const MOST_FAULTS: usize = 50;
