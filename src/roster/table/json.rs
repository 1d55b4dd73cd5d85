//! Records out of JSON: objects with a DevEUI or a DevAddr, at any depth.

use std::collections::BTreeSet;

use zeroize::Zeroizing;

use super::{
    MOST_FAULTS, Table, TableFault, TableFaultKind,
    columns::{self, Filled},
    values, whole,
};
use crate::roster::{
    json::{self, Json, JsonValue},
    secret::redacted,
};

/// Reads all values of a text.
pub(super) fn read(text: &str, table: &mut Table) {
    let (values, error) = json::parse_all(text);
    let mut reader = RowReader { table, unknown: BTreeSet::new() };
    for value in &values {
        reader.walk(value, None);
    }
    let unknown = std::mem::take(&mut reader.unknown);
    table.unknown_columns.extend(unknown);
    if let Some(error) = error {
        let kind = TableFaultKind::Json { column: error.at.column, wanted: error.wanted };
        table.faults.push(TableFault { line: error.at.line, ..whole(kind) });
    } else if table.rows.is_empty() && table.faults.is_empty() {
        table.faults.push(whole(TableFaultKind::NoNode));
    }
}

struct RowReader<'t> {
    table: &'t mut Table,
    /// Names of members that say nothing, of nodes only.
    unknown: BTreeSet<String>,
}

impl RowReader<'_> {
    /// Looks for nodes in a value; `name` is what it is called by what is around it.
    fn walk(&mut self, json: &Json, name: Option<&str>) {
        if self.table.faults.len() >= MOST_FAULTS {
            return;
        }
        match &json.value {
            JsonValue::List(elements) => {
                for element in elements {
                    self.walk(element, None);
                }
            }
            JsonValue::Object(members) => match identities(json) {
                0 => members.iter().for_each(|(_, value)| self.walk(value, None)),
                1 => self.node(json, name),
                // Nodes by their names.
                _ => members.iter().for_each(|(name, value)| self.walk(value, Some(name))),
            },
            _ => {}
        }
    }

    fn node(&mut self, json: &Json, name: Option<&str>) {
        let mut row = Filled::at(json.at.line);
        let mut leaves = Vec::new();
        gather(json, None, 0, &mut leaves);
        // What is nearer to the node says it of the node itself.
        leaves.sort_by_key(|leaf| leaf.depth);
        for leaf in &leaves {
            match columns::named(leaf.name) {
                Some(column) => {
                    let faults = &mut self.table.faults;
                    row.fill(column, leaf.name, leaf.text.trim(), leaf.line, faults);
                }
                None if self.unknown.len() < MOST_FAULTS => {
                    self.unknown.insert(redacted(leaf.name));
                }
                None => {}
            }
        }
        let mut row = row.finish();
        row.name = row.name.or_else(|| name.map(redacted));
        self.table.rows.push(row);
    }
}

/// A member with a value of its own.
struct Leaf<'j> {
    name: &'j str,
    text: Zeroizing<String>,
    line: usize,
    depth: usize,
}

/// Returns how many nodes an object speaks of, up to two: lists in it are looked at by themselves.
fn identities(json: &Json) -> usize {
    let mut leaves = Vec::new();
    gather(json, None, 0, &mut leaves);
    let of = |names: &[&str]| -> BTreeSet<String> {
        let is_named = |leaf: &&Leaf<'_>| names.contains(&values::bare(leaf.name).as_str());
        leaves
            .iter()
            .filter(is_named)
            .map(|leaf| values::bare(&leaf.text).to_string())
            .take(2)
            .collect()
    };
    let euis = of(&["deveui", "deviceeui", "enddeviceeui", "hwdeveui"]);
    if euis.is_empty() { of(&["devaddr"]).len() } else { euis.len() }
}

/// Gathers the members of an object and of the objects in it, with their texts.
fn gather<'j>(json: &'j Json, name: Option<&'j str>, depth: usize, leaves: &mut Vec<Leaf<'j>>) {
    for (own, value) in json.members() {
        // `"appKey": { "key": "..." }` is the value of appKey.
        let inner =
            ["key", "value", "hex", "bytes"].iter().any(|word| own.eq_ignore_ascii_case(word));
        let called = match name.filter(|_| inner) {
            Some(name) if columns::is_member(name) => name,
            _ => own,
        };
        let text = match &value.value {
            JsonValue::Object(_) => {
                gather(value, Some(own), depth + 1, leaves);
                continue;
            }
            JsonValue::Text(text) | JsonValue::Number(text) => text.clone(),
            JsonValue::Bool(flag) => Zeroizing::new(flag.to_string()),
            JsonValue::List(elements) => match numbers(elements) {
                Some(text) => text,
                None => continue,
            },
            JsonValue::Null => continue,
        };
        leaves.push(Leaf { name: called, text, line: value.at.line, depth });
    }
}

/// Returns a list of numbers as a table would have it.
fn numbers(elements: &[Json]) -> Option<Zeroizing<String>> {
    let mut text = Zeroizing::new(String::from("["));
    for (i, element) in elements.iter().enumerate() {
        let JsonValue::Number(number) = &element.value else { return None };
        if i > 0 {
            text.push(',');
        }
        text.push_str(number);
    }
    text.push(']');
    Some(text)
}

#[cfg(test)]
mod tests {
    use super::super::parse;

    const KEY: &str = "5a0c11d2e37f4b8896a1c0deface0147";

    #[test]
    fn a_node_is_read_from_nested_objects_with_base64_keys() {
        let text = r#"{"result": {"ids": {"device_id": "pear-row-3", "dev_eui": "020000FFFE001207",
            "join_eui": "020000FFFE00FFFF"}, "name": "Pear, row 3", "lorawan_version": "MAC_V1_0_3",
            "frequency_plan_id": "EU_863_870", "supports_join": true,
            "root_keys": {"app_key": {"key": "WgwR0uN/S4iWocDe+s4BRw=="}}, "battery": 3.1}}"#;
        let table = parse(text);
        assert_eq!(table.faults, []);
        let [row] = table.rows.as_slice() else { panic!("{table:?}") };
        assert_eq!(
            (row.name.as_deref(), row.id.as_deref()),
            (Some("Pear, row 3"), Some("pear-row-3"))
        );
        assert_eq!(row.claim.app_key.as_ref().unwrap().key().revealed(), KEY);
        assert_eq!(row.claim.region.unwrap().name, "EU868");
        assert_eq!(table.unknown_columns, ["battery"]);
    }

    #[test]
    fn nodes_are_in_lists_in_lines_and_behind_their_names() {
        let node = |n: u8| format!(r#"{{"devEUI": [2,0,0,255,254,0,18,{n}]}}"#);
        for text in [
            format!("[{}, {}]", node(7), node(8)),
            format!("{}\n{}\n", node(7), node(8)),
            format!(r#"{{"total": 2, "result": [{}, {}]}}"#, node(7), node(8)),
            format!(r#"{{"pear": {}, "quince": {}}}"#, node(7), node(8)),
        ] {
            let table = parse(&text);
            assert_eq!((&table.faults[..], table.rows.len()), (&[][..], 2), "{text}");
            assert_eq!(table.rows[1].claim.dev_eui.unwrap().hex(), "020000fffe001208", "{text}");
        }
        let table = parse(&format!(r#"{{"pear": {}, "quince": {}}}"#, node(7), node(8)));
        assert_eq!(table.rows[1].name.as_deref(), Some("quince"));
    }

    #[test]
    fn json_without_a_node_says_what_was_looked_for() {
        let said = |text: &str| parse(text).faults[0].to_string();
        assert!(said(r#"{"colour": 1}"#).starts_with("nothing taken: looked for objects"));
        assert_eq!(
            said(r#"[{"devEUI": "02"}]"#),
            "line 1, column devEUI: 2 hex digits, 16 expected"
        );
        assert_eq!(
            said(r#"{"a" 1}"#),
            "line 1: column 6: a colon expected after the member's name"
        );
    }
}
