//! The report of `id`: all that a number can be.

use std::fmt;

use serde_json::json;

use super::text::wrap;
use crate::id::{Block, Candidate, IdReport, Order, PropertyValue};

/// Writes the report for people, one candidate after the other.
///
/// # Errors
///
/// Only those of `out`.
pub fn text(report: &IdReport, out: &mut dyn fmt::Write) -> fmt::Result {
    for candidate in &report.candidates {
        writeln!(out, "{}", heading(candidate, report.digits))?;
        for property in &candidate.properties {
            for line in wrap(&property.says, 78) {
                writeln!(out, "  {line}")?;
            }
        }
    }
    Ok(())
}

/// Returns the report as JSON: one object.
pub fn json(report: &IdReport) -> serde_json::Value {
    let candidates: Vec<_> = report
        .candidates
        .iter()
        .map(|c| {
            let properties: Vec<_> = c
                .properties
                .iter()
                .map(|p| json!({"name": p.name, "value": value(&p.value)}))
                .collect();
            let shown = c.value.as_ref().map(|v| v.replace('-', "").to_lowercase());
            json!({"kind": c.kind, "order": order(c.order), "value": shown, "facts": properties})
        })
        .collect();
    json!({"schema": crate::show::json::SCHEMA, "digits": report.digits, "candidates": candidates})
}

fn value(value: &PropertyValue) -> serde_json::Value {
    let block = |block: &Block| block.to_string().to_lowercase();
    match value {
        PropertyValue::Null => serde_json::Value::Null,
        PropertyValue::Flag(set) => (*set).into(),
        PropertyValue::Number(n) => (*n).into(),
        PropertyValue::Text(text) => text.as_str().into(),
        PropertyValue::NetIds(ids) => ids.iter().map(|id| id.hex()).collect(),
        PropertyValue::Block(one) => block(one).into(),
        PropertyValue::Blocks(all) => all
            .iter()
            .map(|(reading, one)| json!({"block": block(one), "reading": reading.to_string()}))
            .collect(),
    }
}

fn heading(candidate: &Candidate, digits: usize) -> String {
    match (&candidate.value, candidate.order) {
        (Some(value), Order::Printed) => format!("{} {value}", candidate.kind),
        (Some(value), Order::Wire) => {
            format!("{} {value}, if the bytes are as on the air", candidate.kind)
        }
        (None, _) => format!("{digits} digits"),
    }
}

const fn order(order: Order) -> &'static str {
    match order {
        Order::Printed => "printed",
        Order::Wire => "wire",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_address_is_told_in_both_orders() {
        let mut shown = String::new();
        text(&crate::id::identify("0201BBDA").unwrap(), &mut shown).unwrap();
        let want = "\
DevAddr 0201BBDA
  prefix of NetID type 0, NwkAddr 1BBDA
  NwkID 1
  NetID 000001
  block 02000000/7, 02000000 to 03FFFFFF
  LoRaWAN 1.0.x: from any NetID whose seven low bits are 01
  free for experiments and private networks
  33668058 where a station prints it as a signed number
  on the air DA BB 01 02
DevAddr DABB0102, if the bytes are as on the air
";
        assert!(shown.starts_with(want), "{shown}");
    }

    #[test]
    fn json_has_digits_without_separators() {
        let shown = json(&crate::id::identify("02-00-00-FF-FE-1A-2B-3C").unwrap());
        assert_eq!(shown["candidates"][0]["value"], "020000fffe1a2b3c");
        assert_eq!(shown["candidates"][1]["order"], "wire");
    }

    #[test]
    fn a_key_is_shown_nowhere() {
        let report = crate::id::identify("2B7E151628AED2A6ABF7158809CF4F3C").unwrap();
        let mut shown = json(&report).to_string();
        text(&report, &mut shown).unwrap();
        assert!(!shown.to_lowercase().contains("2b7e"), "{shown}");
    }
}
