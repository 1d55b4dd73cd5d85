//! The `working` member: sheets and their steps.

use serde::Serialize;

use crate::{
    show::Secrets,
    working::{Op, Part, Sheet, Step},
};

#[derive(Serialize)]
pub(super) struct SheetJson<'a> {
    title: &'a str,
    steps: Vec<StepJson<'a>>,
    end: &'a str,
}

#[derive(Serialize)]
struct StepJson<'a> {
    name: &'a str,
    operation: &'static str,
    #[serde(skip_serializing_if = "String::is_empty")]
    formula: String,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    inputs: Vec<&'a str>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    parts: Vec<PartJson<'a>>,
    /// `null` where a key is not shown.
    output: Option<String>,
    #[serde(skip_serializing_if = "str::is_empty")]
    note: &'a str,
}

#[derive(Serialize)]
struct PartJson<'a> {
    name: &'a str,
    octets: String,
    #[serde(skip_serializing_if = "str::is_empty")]
    note: &'a str,
}

pub(super) fn sheets(sheets: &[Sheet], secrets: Secrets) -> Vec<SheetJson<'_>> {
    let of = |sheet| SheetJson::of(sheet, secrets);
    sheets.iter().map(of).collect()
}

impl<'a> SheetJson<'a> {
    fn of(sheet: &'a Sheet, secrets: Secrets) -> Self {
        let steps = sheet.steps.iter().map(|step| StepJson::of(step, secrets)).collect();
        Self { title: &sheet.title, steps, end: &sheet.end }
    }
}

impl<'a> StepJson<'a> {
    fn of(step: &'a Step, secrets: Secrets) -> Self {
        let shown = !step.secret || secrets == Secrets::Shown;
        let (operation, inputs): (_, Vec<&str>) = match &step.op {
            Op::Given => ("given", Vec::new()),
            Op::Join(parts) => ("join", parts.iter().map(|part| part.name.as_str()).collect()),
            Op::Aes { key, block } => ("aes", vec![key, block]),
            Op::Xor(names) => ("xor", names.iter().map(String::as_str).collect()),
            Op::Double(name) => ("double", vec![name]),
            Op::Pad(name) => ("pad", vec![name]),
            Op::SecretOctets(name, _) => ("octets", vec![name]),
        };
        let parts = match &step.op {
            Op::Join(parts) => parts.iter().map(PartJson::of).collect(),
            _ => Vec::new(),
        };
        Self {
            name: &step.name,
            operation,
            formula: step.op.formula(),
            inputs,
            parts,
            output: shown.then(|| hex::encode(step.output.revealed())),
            note: &step.note,
        }
    }
}

impl<'a> PartJson<'a> {
    fn of(part: &'a Part) -> Self {
        Self { name: &part.name, octets: hex::encode(&part.octets), note: &part.note }
    }
}
