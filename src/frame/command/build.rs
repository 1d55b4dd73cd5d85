//! Composing a command: the way from values to octets.

use alloc::{borrow::ToOwned, string::String, vec, vec::Vec};
use core::iter;

use super::{
    Command, FieldValue, Row,
    kind::Coding,
    layout::{FieldSpec, Length},
};
use crate::{
    frame::MacVersion,
    id::{DevAddr, hex_octets},
    key::Aes128Key,
};

/// Why no command can be made of the values given. Never holds a value of a key.
#[derive(Clone, Debug, Eq, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum BuildError {
    /// No command of that name.
    #[error("no MAC command is called {name}")]
    NoSuchCommand {
        /// The name.
        name: String,
    },
    /// The command has no such field.
    #[error("{command} has no field {field}")]
    NoSuchField {
        /// The command.
        command: &'static str,
        /// The field.
        field: String,
    },
    /// A field without a value.
    #[error("{command}: {field} is missing")]
    Missing {
        /// The command.
        command: &'static str,
        /// The field.
        field: &'static str,
    },
    /// A value of another kind than the field's: text for a number, say.
    #[error("{command}: {field} takes another kind of value")]
    WrongKind {
        /// The command.
        command: &'static str,
        /// The field.
        field: &'static str,
    },
    /// A value that the field's bits cannot hold.
    #[error("{command}: {field} does not fit its {bits} bits")]
    OutOfRange {
        /// The command.
        command: &'static str,
        /// The field.
        field: &'static str,
        /// Bits of the field.
        bits: u8,
    },
}

/// Makes a command of its row and the values of all its fields. RFU bits are 0.
///
/// `version` is the one that the meaning of the fields is told by.
///
/// # Errors
///
/// When a field is missing, unknown, of another kind or does not fit.
pub fn compose(
    row: &'static Row,
    values: &[(&str, FieldValue)],
    version: Option<MacVersion>,
) -> Result<Command, BuildError> {
    let command = row.name;
    if let Some((stray, _)) =
        values.iter().find(|(name, _)| row.fields.iter().all(|f| f.name != *name))
    {
        return Err(BuildError::NoSuchField { command, field: (*stray).to_owned() });
    }
    let given = |spec: &FieldSpec| {
        values.iter().find(|(name, _)| *name == spec.name).map(|(_, value)| value)
    };
    let mut payload = vec![0u8; row.length.least()];
    if let Length::Whole { octets, .. } = row.length
        && row.fields.iter().any(|spec| spec.at > 0 && given(spec).is_some())
    {
        payload.resize(octets.into(), 0);
    }
    for spec in row.fields {
        match given(spec) {
            Some(value) => spec.write(value, &mut payload, command)?,
            // An answer that says an error ends before the fields that the error makes void.
            None if matches!(row.length, Length::Whole { .. })
                && payload.len() == 1
                && spec.at > 0 => {}
            None => return Err(BuildError::Missing { command, field: spec.name }),
        }
    }
    if let Length::Whole { .. } = row.length
        && row.length.needed(&payload) != payload.len()
        && let Some(spec) = row.fields.iter().find(|spec| spec.at > 0)
    {
        let field = spec.name;
        return Err(if payload.len() == 1 {
            BuildError::Missing { command, field }
        } else {
            BuildError::NoSuchField { command, field: field.to_owned() }
        });
    }
    if let Length::Counted(_) = row.length
        && row.length.needed(&payload) != payload.len()
    {
        return Err(BuildError::OutOfRange { command, field: "FilterListLen", bits: 5 });
    }
    let is_short = matches!(row.length, Length::Whole { .. }) && payload.len() == 1;
    let there = row.fields.iter().filter(|spec| !is_short || spec.at == 0);
    let fields = there.map(|spec| spec.read(&payload, version)).collect();
    let octets: Vec<u8> = iter::once(row.cid).chain(payload).collect();
    Ok(Command { row, at: 0..octets.len(), octets, fields })
}

/// A value as people and files write it, before the field says what it is.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
#[non_exhaustive]
pub enum Given<'a> {
    /// Yes or no.
    Flag(bool),
    /// A number in the unit that the field counts in.
    Number(i64),
    /// ChMask in four hex digits, DevAddr in eight, a key in 32, bytes in the order sent.
    Text(&'a str),
}

impl FieldSpec {
    /// Writes a value into a payload of zeros.
    fn write(
        &self,
        value: &FieldValue,
        payload: &mut Vec<u8>,
        command: &'static str,
    ) -> Result<(), BuildError> {
        let wrong = BuildError::WrongKind { command, field: self.name };
        let too_big =
            BuildError::OutOfRange { command, field: self.name, bits: self.hi - self.lo + 1 };
        let number = match (self.kind.coding, value) {
            (Coding::Key, FieldValue::Key(key)) => {
                let room = payload.iter_mut().skip(self.at.into());
                room.zip(key.expose()).for_each(|(octet, key)| *octet = *key);
                return Ok(());
            }
            // Without a width of its own it is whatever is left.
            (Coding::Octets, FieldValue::Octets(octets)) if self.width == 0 => {
                payload.extend_from_slice(octets);
                return Ok(());
            }
            (Coding::Octets, FieldValue::Octets(octets)) => {
                if octets.len() != usize::from(self.width) {
                    return Err(too_big);
                }
                let room = payload.iter_mut().skip(self.at.into());
                room.zip(octets).for_each(|(to, from)| *to = *from);
                return Ok(());
            }
            (Coding::Hertz, FieldValue::Hertz(hz)) if hz % 100 == 0 => hz / 100,
            (Coding::Hertz, FieldValue::Hertz(_)) => return Err(too_big),
            (Coding::Line { scale, add }, FieldValue::Number(n)) => (n - add) * scale,
            (Coding::Signed, FieldValue::Number(n)) if *n < 0 && *n >= -self.size() / 2 => {
                n + self.size()
            }
            (Coding::Signed, FieldValue::Number(n)) if *n >= self.size() / 2 => {
                return Err(too_big);
            }
            (Coding::Number | Coding::Signed, FieldValue::Number(n)) => *n,
            (Coding::Flag, FieldValue::Flag(set)) => i64::from(*set),
            (Coding::Mask, FieldValue::Mask(mask)) => i64::from(*mask),
            (Coding::Address, FieldValue::Address(addr)) => i64::from(addr.0),
            _ => return Err(wrong),
        };
        if number >= self.size() {
            return Err(too_big);
        }
        self.put(payload, u64::try_from(number).map_err(|_| too_big)?);
        Ok(())
    }

    /// Returns what a given value is for this field; none where the field takes another kind.
    pub fn value_of(&self, given: Given<'_>) -> Option<FieldValue> {
        match (self.kind.coding, given) {
            (Coding::Flag, Given::Flag(set)) => Some(FieldValue::Flag(set)),
            (Coding::Flag, Given::Number(n @ (0 | 1))) => Some(FieldValue::Flag(n == 1)),
            // Beyond 32 bits no field reaches; the arithmetic of `write` then cannot overflow.
            (Coding::Number | Coding::Signed | Coding::Line { .. }, Given::Number(n)) => {
                u32::try_from(n.unsigned_abs()).is_ok().then_some(FieldValue::Number(n))
            }
            (Coding::Hertz, Given::Number(hz)) => Some(FieldValue::Hertz(hz)),
            (Coding::Mask, Given::Text(text)) => {
                hex_octets(text).ok().map(|octets| FieldValue::Mask(u16::from_be_bytes(octets)))
            }
            (Coding::Address, Given::Text(text)) => {
                text.parse::<DevAddr>().ok().map(FieldValue::Address)
            }
            (Coding::Key, Given::Text(text)) => text.parse::<Aes128Key>().ok().map(FieldValue::Key),
            (Coding::Octets, Given::Text(text)) => hex::decode(text).ok().map(FieldValue::Octets),
            _ => None,
        }
    }
}
