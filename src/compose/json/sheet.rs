//! The members of `fields`, beside what `PHYPayload` says.

use std::str::FromStr;

use serde_json::{Map, Value};

use super::{JsonError, JsonFault};

/// `fields` as given, and as the frame in `PHYPayload` would have them.
#[derive(Clone, Copy)]
pub(super) struct Sheet<'a> {
    pub(super) given: &'a Map<String, Value>,
    pub(super) base: &'a Map<String, Value>,
    pub(super) has_base: bool,
}

impl<'a> Sheet<'a> {
    /// Returns a field as given.
    pub(super) fn given(&self, name: &str) -> Option<&'a Value> {
        self.given.get(name)
    }

    /// Returns a field that says something else than the frame in `PHYPayload`.
    pub(super) fn changed(&self, name: &str) -> Option<&'a Value> {
        self.given(name).filter(|value| self.base.get(name) != Some(value))
    }

    /// Returns a field, read, if it is given.
    pub(super) fn read<T>(
        &self,
        name: &str,
        wanted: &'static str,
        read: impl Fn(&Value) -> Option<T>,
    ) -> Result<Option<T>, JsonError> {
        match self.given(name).filter(|value| !value.is_null()) {
            None => Ok(None),
            Some(value) => read(value).map(Some).ok_or_else(|| wrong(name, wanted)),
        }
    }

    /// Returns a field: as edited, else as it was.
    pub(super) fn field<T>(
        &self,
        name: &str,
        wanted: &'static str,
        read: impl Fn(&Value) -> Option<T>,
        was: Option<T>,
    ) -> Result<T, JsonError> {
        match (self.changed(name), was) {
            (None, Some(was)) => Ok(was),
            (None, None) => self
                .read(name, wanted, read)?
                .ok_or_else(|| JsonError::new(&path(name), JsonFault::Missing)),
            (Some(value), _) => read(value).ok_or_else(|| wrong(name, wanted)),
        }
    }
}

fn path(name: &str) -> String {
    format!("fields.{name}")
}

pub(super) fn wrong(name: &str, wanted: &'static str) -> JsonError {
    JsonError::new(&path(name), JsonFault::Wrong(wanted))
}

pub(super) fn text(value: &Value) -> Option<&str> {
    value.as_str()
}

pub(super) fn number<T: TryFrom<u64>>(value: &Value) -> Option<T> {
    value.as_u64().and_then(|number| T::try_from(number).ok())
}

pub(super) fn id<T: FromStr>(value: &Value) -> Option<T> {
    value.as_str().and_then(|text| text.parse().ok())
}

pub(super) fn hex_octets(value: &Value) -> Option<Vec<u8>> {
    value.as_str().and_then(|text| hex::decode(text).ok())
}

pub(super) fn octet(value: &Value) -> Option<u8> {
    match hex_octets(value)?.as_slice() {
        [octet] => Some(*octet),
        _ => None,
    }
}
