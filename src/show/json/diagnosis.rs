//! A diagnosis as one JSON object.

use std::fmt;

use serde::Serialize;
use serde_json::Value;

use super::SCHEMA;
use crate::{
    fact::{Fact, text},
    ladder::{Diagnosis, GatewayDiagnosis, Ladder, Rungs, Verdict},
    show::{Secrets, fact},
    working::Sheet,
};

#[derive(Serialize)]
struct Object<'a> {
    schema: u32,
    node: Node<'a>,
    region: Option<&'a str>,
    outcome: &'a str,
    #[serde(skip_serializing_if = "Option::is_none")]
    rungs: Option<Vec<Rung>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    session: Option<Session>,
    causes: Vec<Cause>,
    next: Vec<String>,
    attempts: usize,
    data_frames: usize,
    #[serde(skip_serializing_if = "Option::is_none")]
    counted_only: Option<CountedOnly>,
}

#[derive(Serialize)]
struct GatewayObject<'a> {
    schema: u32,
    gateway: Gateway<'a>,
    outcome: &'a str,
    rungs: Vec<Rung>,
    causes: Vec<Cause>,
    next: Vec<String>,
}

#[derive(Serialize)]
struct Gateway<'a> {
    eui: Option<String>,
    name: Option<&'a str>,
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
    #[serde(skip_serializing_if = "Option::is_none")]
    dev_addr: Option<String>,
}

#[derive(Serialize)]
struct Session {
    dev_addr: String,
    rungs: Vec<Rung>,
}

#[derive(Serialize)]
#[expect(clippy::struct_field_names, reason = "the contract names them")]
struct Rung {
    rung: &'static str,
    state: &'static str,
    evidence: Vec<Value>,
}

#[derive(Serialize)]
struct Cause {
    id: &'static str,
    ladder: &'static str,
    rung: &'static str,
    certainty: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    false_match_probability: Option<f64>,
    summary: String,
    evidence: Vec<Value>,
    remedy: String,
}

/// Writes a diagnosis as one JSON object on one line.
///
/// # Errors
/// Whatever the writer says.
pub fn diagnosis(diagnosis: &Diagnosis, secrets: Secrets, out: &mut dyn fmt::Write) -> fmt::Result {
    super::line(out, &Object::of(diagnosis, secrets))
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
    super::line_worked(out, Object::of(diagnosis, secrets), sheets, secrets)
}

/// Writes a gateway's diagnosis as one JSON object on one line.
///
/// # Errors
/// Whatever the writer says.
pub fn gateway(diagnosis: &GatewayDiagnosis, out: &mut dyn fmt::Write) -> fmt::Result {
    let object = GatewayObject {
        schema: SCHEMA,
        gateway: Gateway {
            eui: diagnosis.eui.map(crate::id::Eui64::hex),
            name: diagnosis.name.as_deref(),
        },
        outcome: diagnosis.outcome.name(),
        rungs: rungs(&diagnosis.ladder, Secrets::Hidden),
        causes: causes(&diagnosis.causes, Secrets::Hidden),
        next: diagnosis.next.iter().map(ToString::to_string).collect(),
    };
    super::line(out, &object)
}

fn rungs<R: Rungs>(ladder: &Ladder<R>, secrets: Secrets) -> Vec<Rung> {
    let rung = |(rung, judgement): (R, &crate::ladder::Judgement)| Rung {
        rung: rung.name(),
        state: judgement.state.name(),
        evidence: evidence(&judgement.evidence, secrets),
    };
    ladder.iter().map(rung).collect()
}

fn evidence(facts: &[Fact], secrets: Secrets) -> Vec<Value> {
    facts.iter().map(|fact| fact::json(fact, secrets)).collect()
}

fn causes(verdicts: &[Verdict], secrets: Secrets) -> Vec<Cause> {
    let cause = |verdict: &Verdict| Cause {
        id: verdict.cause.id.name(),
        ladder: verdict.place.ladder().name(),
        rung: verdict.place.rung(),
        certainty: verdict.certainty.name(),
        false_match_probability: verdict.false_match,
        summary: text(&verdict.summary, secrets),
        evidence: evidence(&verdict.evidence, secrets),
        remedy: text(&verdict.remedy, secrets),
    };
    verdicts.iter().map(cause).collect()
}

impl<'a> Object<'a> {
    fn of(diagnosis: &'a Diagnosis, secrets: Secrets) -> Self {
        Self {
            schema: SCHEMA,
            node: Node {
                name: diagnosis.name.as_deref(),
                dev_eui: diagnosis.dev_eui.map(crate::id::DevEui::hex),
                join_eui: diagnosis.join_eui.map(crate::id::JoinEui::hex),
                dev_addr: diagnosis.dev_addr.map(|addr| addr.to_string().to_lowercase()),
            },
            region: diagnosis.plan.map(|plan| plan.name),
            outcome: diagnosis.outcome.name(),
            rungs: diagnosis.join.as_ref().map(|ladder| rungs(ladder, secrets)),
            session: diagnosis.session.as_ref().map(|session| Session {
                dev_addr: session.dev_addr.to_string().to_lowercase(),
                rungs: rungs(&session.ladder, secrets),
            }),
            causes: causes(&diagnosis.causes, secrets),
            next: diagnosis.next.iter().map(|step| text(step, secrets)).collect(),
            attempts: diagnosis.attempts,
            data_frames: diagnosis.data,
            counted_only: match diagnosis.forgotten {
                (0, 0) => None,
                (attempts, data_frames) => Some(CountedOnly { attempts, data_frames }),
            },
        }
    }
}
