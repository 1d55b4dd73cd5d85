//! The report of `compare` as JSON: one object a node.

use std::fmt::{self, Write};

use serde::Serialize;

use crate::{
    compare::{Difference, Gathered, NodeReport},
    ladder::CauseId,
    roster::{ClaimKind, firmware::Taken},
};

/// Writes one object a node, each in one line.
///
/// # Errors
/// When `out` does not take it.
pub fn json(nodes: &[NodeReport], gathered: &Gathered, out: &mut dyn Write) -> fmt::Result {
    for report in nodes {
        let object = NodeJson::new(report, gathered);
        writeln!(out, "{}", crate::show::json::object(&object)?)?;
    }
    Ok(())
}

#[derive(Serialize)]
struct NodeJson<'r> {
    schema: u32,
    node: Identity<'r>,
    claims: Vec<&'static str>,
    matched: &'r [String],
    differences: Vec<DifferenceJson<'r>>,
    taken: Vec<TakenJson<'r>>,
    /// Values of the same sources that were not taken.
    left_out: Vec<LeftOutJson<'r>>,
}

#[derive(Serialize)]
struct Identity<'r> {
    name: &'r str,
    #[serde(skip_serializing_if = "Option::is_none")]
    dev_eui: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    join_eui: Option<String>,
}

#[derive(Serialize)]
struct DifferenceJson<'r> {
    kind: &'static str,
    severity: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    cause: Option<&'static str>,
    member: &'static str,
    claims: Vec<ClaimJson<'r>>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    digits: Vec<DigitJson>,
    summary: &'r str,
    evidence: &'r [String],
    remedy: &'r str,
}

#[derive(Serialize)]
struct ClaimJson<'r> {
    claim: &'static str,
    member: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    node: Option<&'r str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    value: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    at: Option<&'r str>,
}

/// A digit that differs between the first two claims.
#[derive(Serialize)]
struct DigitJson {
    position: usize,
    first: String,
    second: String,
}

#[derive(Serialize)]
struct TakenJson<'r> {
    member: &'static str,
    identifier: &'r str,
    file: &'r str,
    line: usize,
    order: &'static str,
}

#[derive(Serialize)]
struct LeftOutJson<'r> {
    identifier: &'r str,
    file: &'r str,
    line: usize,
    why: String,
}

impl<'r> NodeJson<'r> {
    fn new(report: &'r NodeReport, gathered: &'r Gathered) -> Self {
        let node = &report.subject.node;
        // what is on record is what the server calls the node
        let order = [ClaimKind::Record, ClaimKind::Firmware, ClaimKind::Label];
        let claims = || order.into_iter().filter_map(|kind| node.claim(kind));
        let taken = &report.subject.taken;
        let of_these = |file: &str| taken.iter().any(|taken| taken.file == file);
        Self {
            schema: crate::show::json::SCHEMA,
            node: Identity {
                name: &node.name,
                dev_eui: claims().find_map(|claim| claim.dev_eui).map(crate::id::DevEui::hex),
                join_eui: claims().find_map(|claim| claim.join_eui).map(crate::id::JoinEui::hex),
            },
            claims: node.claims().map(|(kind, _)| kind.name()).collect(),
            matched: &report.subject.matched,
            differences: report.differences.iter().map(DifferenceJson::new).collect(),
            taken: taken.iter().map(TakenJson::new).collect(),
            left_out: gathered
                .left_out
                .iter()
                .filter(|left| of_these(&left.file))
                .map(|left| LeftOutJson {
                    identifier: &left.identifier,
                    file: &left.file,
                    line: left.at.line,
                    why: left.why.to_string(),
                })
                .collect(),
        }
    }
}

impl<'r> DifferenceJson<'r> {
    fn new(difference: &'r Difference) -> Self {
        let claims = difference.sides.iter().map(|side| ClaimJson {
            claim: side.claim.name(),
            member: side.member,
            node: side.node.as_deref(),
            value: side.value.as_deref().map(|value| plain(side.member, value)),
            at: side.at.as_deref(),
        });
        let digits = difference.marks.iter().map(|mark| DigitJson {
            position: mark.position,
            first: mark.first.to_lowercase().collect(),
            second: mark.second.to_lowercase().collect(),
        });
        Self {
            kind: difference.kind.name(),
            severity: difference.severity.name(),
            cause: difference.cause.map(CauseId::name),
            member: difference.member,
            claims: claims.collect(),
            digits: digits.collect(),
            summary: &difference.summary,
            evidence: &difference.evidence,
            remedy: &difference.remedy,
        }
    }
}

impl<'r> TakenJson<'r> {
    fn new(taken: &'r Taken) -> Self {
        Self {
            member: taken.member,
            identifier: &taken.identifier,
            file: &taken.file,
            line: taken.at.line,
            order: taken.order.name(),
        }
    }
}

/// Identifiers have no separators and lower-case digits in JSON.
fn plain(member: &str, value: &str) -> String {
    match member {
        "dev-eui" | "join-eui" => value.replace('-', "").to_lowercase(),
        "dev-addr" | "net-id" => value.to_lowercase(),
        _ => value.to_owned(),
    }
}
