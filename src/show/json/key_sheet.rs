//! `keys --json`: one object, with every key by name and the parts they come in.

use std::{collections::BTreeMap, fmt};

use serde::Serialize;

use super::{SCHEMA, line, line_worked};
use crate::{
    key_sheet::{KeySheet, SheetValue},
    show::Secrets,
    working::Sheet,
};

/// Writes the keys of a sheet in clear, for a user who asked to see them.
///
/// # Errors
/// When the writer fails.
pub fn key_sheet(out: &mut dyn fmt::Write, sheet: &KeySheet) -> fmt::Result {
    line(out, &SheetJson::of(sheet))
}

/// As [`key_sheet`], with the member `working`: every computation step by step.
///
/// # Errors
/// When the writer fails.
pub fn key_sheet_worked(
    out: &mut dyn fmt::Write,
    sheet: &KeySheet,
    sheets: &[Sheet],
) -> fmt::Result {
    line_worked(out, SheetJson::of(sheet), sheets, Secrets::Shown)
}

#[derive(Serialize)]
struct SheetJson {
    schema: u32,
    keys: BTreeMap<&'static str, String>,
    parts: Vec<PartJson>,
}

impl SheetJson {
    fn of(sheet: &KeySheet) -> Self {
        let parts: Vec<_> = sheet
            .parts
            .iter()
            .map(|part| PartJson {
                title: part.title,
                rule: part.rule,
                values: part
                    .values
                    .iter()
                    .map(|(name, value)| (*name, ValueJson::of(value)))
                    .collect(),
                keys: part.keys.iter().map(|(name, key)| (*name, key.revealed())).collect(),
            })
            .collect();
        let keys = parts.iter().flat_map(|part| part.keys.clone()).collect();
        Self { schema: SCHEMA, keys, parts }
    }
}

#[derive(Serialize)]
struct PartJson {
    title: &'static str,
    rule: &'static str,
    values: BTreeMap<&'static str, ValueJson>,
    keys: BTreeMap<&'static str, String>,
}

#[derive(Serialize)]
#[serde(untagged)]
enum ValueJson {
    Number(u32),
    Text(String),
}

impl ValueJson {
    fn of(value: &SheetValue) -> Self {
        match value {
            SheetValue::Number(number) => Self::Number(*number),
            SheetValue::Digits(digits) => Self::Text(digits.clone()),
        }
    }
}
