//! The report of `compare`: where firmware, record and label of a node differ.

mod json;

use std::fmt::{self, Write};

pub use json::json;

use crate::{
    compare::{Difference, DigitMark, Gathered, NodeReport, Severity, Side},
    roster::firmware::{ByteOrder, Taken},
};

/// Writes the report for people: one node after the other, then what was left out.
///
/// # Errors
/// When `out` does not take it.
pub fn text(nodes: &[NodeReport], gathered: &Gathered, out: &mut dyn Write) -> fmt::Result {
    let mut gap = false;
    for report in nodes {
        if gap {
            writeln!(out)?;
        }
        gap = true;
        node(report, out)?;
    }
    let anything = !gathered.left_out.is_empty()
        || !gathered.unknown_columns.is_empty()
        || !gathered.loose.is_empty();
    if gap && anything {
        writeln!(out)?;
    }
    rest(gathered, out)
}

fn node(report: &NodeReport, out: &mut dyn Write) -> fmt::Result {
    let node = &report.subject.node;
    let places: Vec<_> = node.claims().map(|(kind, _)| kind.name()).collect();
    let counted = |severity| report.differences.iter().filter(|d| d.severity == severity).count();
    let counts: Vec<String> = [Severity::Fault, Severity::Doubt, Severity::Note]
        .into_iter()
        .map(|severity| (counted(severity), severity.name()))
        .filter(|(count, _)| *count > 0)
        .map(|(count, name)| format!("{count} {name}{}", if count == 1 { "" } else { "s" }))
        .collect();
    let verdict = match (places.len(), counts.is_empty()) {
        (0, _) => "nothing is said about it".to_owned(),
        (1, true) => "nothing to hold it against".to_owned(),
        (_, true) => "no difference".to_owned(),
        _ => counts.join(", "),
    };
    wrapped(out, "", "  ", &format!("{}: {verdict}", node.name))?;
    let said = match places.as_slice() {
        [] => String::new(),
        [one] => format!("{one} only"),
        _ => places.join(", "),
    };
    if !said.is_empty() {
        field(out, "compared", &said)?;
    }
    for matched in &report.subject.matched {
        field(out, "matched", matched)?;
    }
    taken(&report.subject.taken, out)?;
    for one in &report.differences {
        writeln!(out)?;
        difference(one, out)?;
    }
    Ok(())
}

/// What each value of the source was taken for, and from which line.
fn taken(all: &[Taken], out: &mut dyn Write) -> fmt::Result {
    for value in all {
        let mut says = format!(
            "{} from {} in {}:{}",
            value.member, value.identifier, value.file, value.at.line
        );
        let is_eui = value.member.ends_with("-eui");
        match value.order {
            ByteOrder::Reversed => {
                let _ = write!(says, ", least significant byte first: {}", value.order_from);
            }
            ByteOrder::Printed if is_eui => {
                let _ = write!(says, ", most significant byte first: {}", value.order_from);
            }
            ByteOrder::Unknown if is_eui => {
                let _ = write!(says, ", in which order {}", value.order_from);
            }
            _ => {}
        }
        field(out, "taken", &says)?;
    }
    Ok(())
}

fn difference(difference: &Difference, out: &mut dyn Write) -> fmt::Result {
    let severity = difference.severity.name();
    wrapped(out, &format!("  {severity}: "), "    ", &difference.summary)?;
    sides(difference, out)?;
    for evidence in &difference.evidence {
        field(out, "because", evidence)?;
    }
    field(out, "do", &difference.remedy)?;
    if let Some(cause) = difference.cause {
        field(out, "cause", cause.name())?;
    }
    Ok(())
}

/// The values one above the other, and a line of carets under the digits that differ.
fn sides(difference: &Difference, out: &mut dyn Write) -> fmt::Result {
    let several = difference.sides.iter().any(|side| side.member != difference.member);
    for side in &difference.sides {
        let label = match &side.node {
            Some(_) => "other",
            None => side.claim.name(),
        };
        field(out, label, &value(side, several))?;
    }
    let dashed = difference.sides.iter().all(|s| s.value.as_deref().is_some_and(is_dashed));
    if dashed && !difference.marks.is_empty() {
        let last = difference.marks.iter().map(column).max().unwrap_or(0);
        let carets: String = (0..=last)
            .map(|i| if difference.marks.iter().any(|m| column(m) == i) { '^' } else { ' ' })
            .collect();
        writeln!(out, "{}{carets}", " ".repeat(INDENT))?;
    }
    Ok(())
}

fn value(side: &Side, several: bool) -> String {
    let mut says = side.value.clone().unwrap_or_default();
    if several || side.value.is_none() {
        if !says.is_empty() {
            says.push(' ');
        }
        says.push_str(side.member);
    }
    if let Some(node) = &side.node {
        let _ = write!(says, " of {node}, {}", side.claim.name());
    }
    if let Some(at) = &side.at {
        let _ = write!(says, " ({at})");
    }
    says
}

fn is_dashed(value: &str) -> bool {
    value.split('-').all(|octet| octet.len() == 2)
}

/// The column of a digit in `02-00-00-FF-FE-00-12-07`.
fn column(mark: &DigitMark) -> usize {
    let digit = mark.position.saturating_sub(1);
    digit + digit / 2
}

/// What was not compared.
fn rest(gathered: &Gathered, out: &mut dyn Write) -> fmt::Result {
    for left in &gathered.left_out {
        let text = format!("{}:{}: {}: {}", left.file, left.at, left.identifier, left.why);
        first(out, "not taken", &text)?;
    }
    for column in &gathered.unknown_columns {
        first(out, "not taken", &format!("column {column}: no name of a member"))?;
    }
    for loose in &gathered.loose {
        let text = format!("{}: no other source speaks of this node", loose.node);
        first(out, loose.claim.name(), &text)?;
    }
    Ok(())
}

fn first(out: &mut dyn Write, label: &str, text: &str) -> fmt::Result {
    wrapped(out, &format!("{label}: "), "  ", text)
}

fn field(out: &mut dyn Write, label: &str, text: &str) -> fmt::Result {
    wrapped(out, &format!("    {label:<9} "), &" ".repeat(INDENT), text)
}

/// Writes a text in lines of up to 80 columns.
fn wrapped(out: &mut dyn Write, start: &str, hanging: &str, text: &str) -> fmt::Result {
    let mut line = start.to_owned();
    let mut empty = true;
    for word in text.split(' ') {
        let room = line.chars().count() + word.chars().count() + usize::from(!empty);
        if !empty && room > COLUMNS {
            writeln!(out, "{}", line.trim_end())?;
            hanging.clone_into(&mut line);
            empty = true;
        }
        if !empty {
            line.push(' ');
        }
        line.push_str(word);
        empty = false;
    }
    writeln!(out, "{}", line.trim_end())
}

const COLUMNS: usize = 80;
/// Where values start.
const INDENT: usize = 14;
