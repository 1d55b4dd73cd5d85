//! MAC commands as JSON, and back again.

use serde_json::{Map, Value as Json, json};

use crate::{
    frame::{
        MacVersion,
        command::{
            BuildError, Command, Commands, FieldValue, Given, Trailing, Why, compose, row_by_name,
        },
    },
    show::Secrets,
};

/// Returns a list of commands: an array of `{"cid":2,"name":"LinkCheckAns","fields":{..}}`.
///
/// What could not be split comes last, with `octets` in place of `fields`. Keys stay hidden (`null`).
pub fn commands(list: &Commands) -> Json {
    let known = list.commands.iter().map(|one| command(one, Secrets::Hidden));
    known.chain(list.trailing.as_ref().map(trailing)).collect()
}

/// Returns `{"cid":2,"name":"LinkCheckAns","fields":{..}}`; a key (RootWorSKey) is `null` unless shown.
pub fn command(command: &Command, secrets: Secrets) -> Json {
    let fields: Map<_, _> = command
        .fields
        .iter()
        .map(|field| (field.name().to_owned(), value(&field.value, secrets)))
        .collect();
    json!({"cid": command.cid(), "name": command.name(), "fields": fields})
}

/// Makes a command of its name and its fields as [`command`] prints them.
///
/// # Errors
///
/// When no command has that name, or a field is missing, unknown, of another kind or does not fit.
pub fn command_from(
    name: &str,
    version: Option<MacVersion>,
    fields: &Map<String, Json>,
) -> Result<Command, BuildError> {
    let row = row_by_name(name, version)
        .ok_or_else(|| BuildError::NoSuchCommand { name: name.to_owned() })?;
    let mut values = Vec::new();
    for (name, json) in fields {
        let spec = row
            .fields
            .iter()
            .find(|f| f.name == name)
            .ok_or_else(|| BuildError::NoSuchField { command: row.name, field: name.clone() })?;
        let value = given(json).and_then(|given| spec.value_of(given));
        let wrong = BuildError::WrongKind { command: row.name, field: spec.name };
        values.push((name.as_str(), value.ok_or(wrong)?));
    }
    compose(row, &values, version)
}

fn given(json: &Json) -> Option<Given<'_>> {
    let flag = json.as_bool().map(Given::Flag);
    flag.or_else(|| json.as_i64().map(Given::Number)).or_else(|| json.as_str().map(Given::Text))
}

/// Numbers and flags as such, ChMask as four hex digits, DevAddr as eight, bytes in the order sent.
fn value(value: &FieldValue, secrets: Secrets) -> Json {
    match value {
        FieldValue::Flag(set) => (*set).into(),
        FieldValue::Number(n) | FieldValue::Hertz(n) => (*n).into(),
        FieldValue::Mask(mask) => format!("{mask:04x}").into(),
        FieldValue::Address(addr) => addr.hex().into(),
        FieldValue::Key(key) if secrets == Secrets::Shown => key.revealed().into(),
        FieldValue::Key(_) => Json::Null,
        FieldValue::Octets(octets) => hex::encode(octets).into(),
    }
}

/// No bytes where they may be part of a key.
fn trailing(trailing: &Trailing) -> Json {
    let secret = matches!(trailing.why, Why::Cut { row, .. } if row.holds_a_key());
    let octets = (!secret).then(|| hex::encode(&trailing.octets));
    json!({"cid": trailing.cid, "name": trailing.name(), "octets": octets})
}
