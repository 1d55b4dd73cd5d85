//! From the TOML tree to a roster.
//!
//! The tree is walked by hand: a derived reader stops at the first fault. Here a member that cannot
//! be read is noted as [`Claim::unread`], and everything intact is kept.

mod bands;
mod gateway;
mod repair;

use std::{borrow::Cow, collections::BTreeMap, ops::Range, path::Path};

use toml::{
    Spanned,
    de::{DeTable, DeValue},
};
use zeroize::Zeroizing;

use self::{bands::Band, repair::Repaired};
use super::{
    ClaimKind, Intact, Node, Roster,
    claim::{Claim, KeyReference},
    damaged_key::DamagedKey,
    error::{FaultKind, Position, RosterError, RosterFault, RosterWarning},
    from_base,
    label::Label,
    member::{KEYS, KeyMember, KeySource, MEMBERS, key_member},
    readable_by_all,
    secret::{key_env, key_file, redacted},
    value::{Value, ValueFault, in_order},
};
use crate::nearest::nearest;

/// Returns the roster of all that is intact, and whether keys are in the file itself.
pub(super) fn read(text: &str, base: Option<&Path>) -> Result<(Intact, bool), RosterError> {
    let (tree, errors) = DeTable::parse_recoverable(text);
    if errors.is_empty() {
        return Ok(walk(text, base, tree.get_ref(), Vec::new()));
    }
    // A value without its quotes costs its member, not the roster.
    if let Some(Repaired { text, faults }) = repair::values(text) {
        let (tree, errors) = DeTable::parse_recoverable(&text);
        if errors.is_empty() {
            return Ok(walk(&text, base, tree.get_ref(), faults));
        }
    }
    // What was recovered after any other syntax error is too doubtful to be judged.
    let fault = |error: &toml::de::Error| RosterFault {
        position: Some(Position::of(text, error.span().unwrap_or_default().start)),
        member: String::new(),
        kind: FaultKind::Syntax { message: redacted(error.message()) },
    };
    let mut faults: Vec<_> = errors.iter().map(fault).collect();
    faults.sort_by_key(|fault| fault.position);
    // One typing error often upsets the rest of its line, too.
    faults.dedup_by_key(|fault| fault.position.map(|position| position.line));
    faults.truncate(MOST_FAULTS);
    Err(RosterError { file: None, faults })
}

fn walk(
    text: &str,
    base: Option<&Path>,
    tree: &DeTable<'_>,
    repaired: Vec<(usize, FaultKind)>,
) -> (Intact, bool) {
    let mut walk = Walk {
        text,
        base,
        repaired,
        faults: Vec::new(),
        warnings: Vec::new(),
        bands: Vec::new(),
        keys: false,
    };
    let mut roster = walk.document(tree);
    walk.check_bands(&mut roster);
    look_for_twins(&roster, &mut walk.warnings);
    roster.warnings = walk.warnings;
    walk.faults.sort_by_key(|fault| fault.position);
    walk.faults.truncate(MOST_FAULTS);
    (Intact { roster, faults: walk.faults, file: None }, walk.keys)
}

struct Walk<'t> {
    text: &'t str,
    base: Option<&'t Path>,
    /// Lines whose value is no TOML and was replaced, and what was wrong with it.
    repaired: Vec<(usize, FaultKind)>,
    faults: Vec<RosterFault>,
    warnings: Vec<RosterWarning>,
    /// Sub-bands, to be held against the plan once the file is read.
    bands: Vec<Band>,
    keys: bool,
}

type Name<'t> = Spanned<Cow<'t, str>>;
type Tree<'t> = Spanned<DeValue<'t>>;

impl Walk<'_> {
    fn fault(&mut self, member: &str, span: &Range<usize>, kind: FaultKind) {
        if self.faults.len() > MOST_FAULTS {
            return;
        }
        let position = Position::of(self.text, span.start);
        // The value that is there now was put there.
        let found = self.repaired.iter().find(|(line, _)| *line == position.line);
        let kind = found.map_or(kind, |(_, kind)| kind.clone());
        self.faults.push(RosterFault { position: Some(position), member: member.to_owned(), kind });
    }

    /// Reports a member that there is not; returns the known one that it may be meant for.
    fn unknown<'c>(
        &mut self,
        path: &str,
        name: &Name<'_>,
        known: impl IntoIterator<Item = &'c str>,
    ) -> Option<String> {
        let nearest = nearest(name.get_ref(), known).map(str::to_owned);
        let member = join(path, &redacted(name.get_ref()));
        self.fault(&member, &name.span(), FaultKind::UnknownMember { nearest: nearest.clone() });
        nearest
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
                "region" => {
                    roster.region = self.take("region", value, asked.region());
                    unread_without(&mut roster.unread, "region", roster.region.is_some());
                }
                "sub-band" => {
                    roster.sub_band = self.take("sub-band", value, asked.sub_band());
                    unread_without(&mut roster.unread, "sub-band", roster.sub_band.is_some());
                    self.bands.push(Band::of_roster(value.span()));
                }
                "node" => {
                    for (path, value) in self.tables("node", value) {
                        let node = self.node(&path, roster.nodes.len(), value);
                        roster.nodes.extend(node);
                    }
                }
                "gateway" => {
                    for (path, value) in self.tables("gateway", value) {
                        let gateway = self.gateway(&path, roster.gateways.len(), value);
                        // One that is not known by its EUI may be any that is heard.
                        unread_without(&mut roster.unread, "gateway", gateway.is_some());
                        roster.gateways.extend(gateway);
                    }
                }
                _ => {
                    let meant = self.unknown("", name, ROSTER_MEMBERS);
                    roster.unread.extend(known_as(meant, &ROSTER_MEMBERS));
                }
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

    fn node(&mut self, path: &str, index: usize, value: &Tree<'_>) -> Option<Node> {
        let mut node = Node::default();
        let table = Value(value.get_ref()).table("a table [[node]]");
        let table = self.take(path, value, table)?;
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
                    *node.claim_mut(kind) = Some(claim);
                    if let Some(span) = claim_span(value, "sub-band") {
                        self.bands.push(Band::of_claim(span, &member, index, kind));
                    }
                }
                (_, None) => {
                    self.unknown(path, name, NODE_MEMBERS);
                }
            }
        }
        if node.name.is_empty() {
            let dev_eui = node.claims().find_map(|(_, claim)| claim.dev_eui);
            node.name =
                dev_eui.map_or_else(|| format!("node {}", index + 1), |eui| eui.to_string());
        }
        self.hold_against_labels(&node);
        Some(node)
    }

    /// Looks for identification strings that say another EUI than the member beside them.
    fn hold_against_labels(&mut self, node: &Node) {
        for (kind, claim) in node.claims() {
            let Some(label) = label_of(claim) else { continue };
            let members = [
                ("dev-eui", label.dev_eui.is_some() && claim.dev_eui != label.dev_eui),
                ("join-eui", label.join_eui.is_some() && claim.join_eui != label.join_eui),
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
        let Some(table) = self.take(path, value, table) else {
            claim.unread = MEMBERS.iter().map(|row| row.name).collect();
            claim.unread.extend(KEYS.iter().map(|key| key.name));
            return claim;
        };
        let mut keys: Vec<(&str, &str)> = Vec::new();
        for (name, value) in in_order(table) {
            let member = join(path, name.get_ref());
            if let Some((key, source)) = key_member(name.get_ref()) {
                if let Some((_, other)) = keys.iter().find(|(role, _)| *role == key.name) {
                    let other = (*other).to_owned();
                    self.fault(&member, &name.span(), FaultKind::KeyTwice { other });
                    // Which of the two is meant is open.
                    unread_without(&mut claim.unread, key.name, false);
                }
                keys.push((key.name, name.get_ref()));
                let read = self.key(&mut claim, key, source, Value(value.get_ref()));
                let read = self.take(&member, value, read).is_some();
                unread_without(&mut claim.unread, key.name, read);
            } else if let Some(row) = MEMBERS.iter().find(|row| row.name == name.get_ref()) {
                let read = (row.read)(&mut claim, Value(value.get_ref()));
                let read = self.take(&member, value, read).is_some();
                unread_without(&mut claim.unread, row.name, read);
            } else {
                let keys: Vec<_> = KEYS
                    .iter()
                    .flat_map(|key| {
                        KeySource::ALL.map(|(suffix, _)| format!("{}{suffix}", key.name))
                    })
                    .collect();
                let known = MEMBERS.iter().map(|row| row.name);
                let meant = self.unknown(path, name, known.chain(keys.iter().map(String::as_str)));
                let key = meant.as_deref().and_then(key_member).map(|(key, _)| key.name);
                let other = MEMBERS.iter().find(|row| Some(row.name) == meant.as_deref());
                if let Some(member) = key.or(other.map(|row| row.name)) {
                    unread_without(&mut claim.unread, member, false);
                }
            }
        }
        if let Some(label) = label_of(&claim) {
            claim.dev_eui = claim.dev_eui.or(label.dev_eui);
            claim.join_eui = claim.join_eui.or(label.join_eui);
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
        let text = match source {
            KeySource::Here => {
                self.keys = true;
                Zeroizing::new(value.text("32 hex digits in quotes")?.to_owned())
            }
            KeySource::File => {
                let path = from_base(self.base, value.text("the path of a file in quotes")?);
                let read = key_file(&path)?;
                if readable_by_all(&path) {
                    self.warnings.push(RosterWarning::ReadableByAll { path: path.clone() });
                }
                claim.key_references.push((key.name, KeyReference::File(path)));
                read
            }
            KeySource::Env => {
                let name = value.text("the name of a variable in quotes")?;
                let read = key_env(name)?;
                claim.key_references.push((key.name, KeyReference::Variable(name.to_owned())));
                read
            }
        };
        (key.set)(claim, &text).map_err(|error| {
            claim.damaged_keys.extend(DamagedKey::of(key.name, &text));
            FaultKind::Key(error)
        })
    }
}

/// Notes a member that is stated and could not be read.
fn unread_without(unread: &mut Vec<&'static str>, member: &'static str, read: bool) {
    if !read && !unread.contains(&member) {
        unread.push(member);
    }
}

/// Returns the member of these that a mistyped one may be meant for.
fn known_as(meant: Option<String>, known: &[&'static str]) -> Option<&'static str> {
    let meant = meant?;
    known.iter().copied().find(|member| *member == meant)
}

/// Returns where the value of a claim's member is.
fn claim_span(value: &Tree<'_>, member: &str) -> Option<Range<usize>> {
    let DeValue::Table(table) = value.get_ref() else { return None };
    Some(table.get(member)?.span())
}

fn label_of(claim: &Claim) -> Option<Label> {
    claim.qr.as_deref()?.parse().ok()
}

/// Looks for nodes and gateways that are on the roster twice.
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
/// Faults reported together.
const MOST_FAULTS: usize = 50;
