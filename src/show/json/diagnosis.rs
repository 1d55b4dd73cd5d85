//! A diagnosis as one JSON object.

use std::fmt;

use serde::Serialize;

use super::SCHEMA;
use crate::{ladder::Diagnosis, show::Secrets, working::Sheet};

#[derive(Serialize)]
struct Object<'a> {
    schema: u32,
    node: Node<'a>,
    region: Option<&'a str>,
    outcome: &'a str,
    rungs: Vec<Rung<'a>>,
    causes: Vec<Cause<'a>>,
    next: &'a [String],
    attempts: usize,
    data_frames: usize,
    #[serde(skip_serializing_if = "Option::is_none")]
    counted_only: Option<CountedOnly>,
}

/// What was many and alike, and is counted without being judged one by one.
#[derive(Serialize)]
struct CountedOnly {
    attempts: usize,
    data_frames: usize,
}

#[derive(Serialize)]
struct Node<'a> {
    name: Option<&'a str>,
    dev_eui: Option<String>,
    join_eui: Option<String>,
}

#[derive(Serialize)]
#[expect(clippy::struct_field_names, reason = "the contract names them")]
struct Rung<'a> {
    rung: &'a str,
    state: &'a str,
    evidence: &'a [String],
}

#[derive(Serialize)]
struct Cause<'a> {
    id: &'a str,
    #[serde(skip_serializing_if = "Option::is_none")]
    rung: Option<&'a str>,
    certainty: &'a str,
    #[serde(skip_serializing_if = "Option::is_none")]
    odds_of_accident: Option<f64>,
    summary: &'a str,
    evidence: &'a [String],
    remedy: &'a str,
}

/// Writes a diagnosis as one JSON object on one line.
///
/// # Errors
/// Whatever the writer says.
pub fn diagnosis(diagnosis: &Diagnosis, out: &mut dyn fmt::Write) -> fmt::Result {
    super::line(out, &Object::of(diagnosis))
}

/// As [`diagnosis`], with the member `working`: what decides, step by step.
///
/// # Errors
/// Whatever the writer says.
pub fn diagnosis_worked(
    diagnosis: &Diagnosis,
    sheets: &[Sheet],
    secrets: Secrets,
    out: &mut dyn fmt::Write,
) -> fmt::Result {
    super::line_worked(out, Object::of(diagnosis), sheets, secrets)
}

impl<'a> Object<'a> {
    fn of(diagnosis: &'a Diagnosis) -> Self {
        Self {
            schema: SCHEMA,
            node: Node {
                name: diagnosis.name.as_deref(),
                dev_eui: diagnosis.dev_eui.map(crate::id::DevEui::hex),
                join_eui: diagnosis.join_eui.map(crate::id::JoinEui::hex),
            },
            region: diagnosis.plan.map(|plan| plan.name),
            outcome: diagnosis.outcome.name(),
            rungs: diagnosis
                .rungs
                .iter()
                .map(|r| Rung {
                    rung: r.rung.name(),
                    state: r.judgement.state.name(),
                    evidence: &r.judgement.evidence,
                })
                .collect(),
            causes: diagnosis
                .causes
                .iter()
                .map(|v| Cause {
                    id: v.cause.id,
                    rung: v.rung.map(crate::ladder::Rung::name),
                    certainty: v.certainty.name(),
                    odds_of_accident: v.odds,
                    summary: &v.summary,
                    evidence: &v.evidence,
                    remedy: &v.remedy,
                })
                .collect(),
            next: &diagnosis.next,
            attempts: diagnosis.attempts,
            data_frames: diagnosis.data,
            counted_only: match diagnosis.forgotten {
                (0, 0) => None,
                (attempts, data_frames) => Some(CountedOnly { attempts, data_frames }),
            },
        }
    }
}
