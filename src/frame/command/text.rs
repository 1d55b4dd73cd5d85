//! A command as people write it on a command line: its name, then `Field=value` for each field.

use alloc::{borrow::ToOwned, vec::Vec};

use super::{
    BuildError, Command, FieldSpec, FieldValue, Given, compose, kind::Coding, row_by_name,
};
use crate::frame::MacVersion;

/// Makes a command of a text: `LinkADRReq DataRate=5 TXPower=0 ChMask=00ff ChMaskCntl=0 NbTrans=1`.
///
/// Names may be in any case; commas and spaces stand between. Numbers are decimal or `0x..`,
/// frequencies hertz, flags yes or no, ChMask four hex digits, octets hex in the order sent.
///
/// ```
/// use handfast::frame::command::from_text;
///
/// let command = from_text("DutyCycleReq MaxDCycle=7", None)?;
/// assert_eq!(command.octets, [0x04, 0x07]);
/// assert_eq!(
///     from_text("DutyCycleReq", None).unwrap_err().to_string(),
///     "DutyCycleReq: MaxDCycle is missing"
/// );
/// # Ok::<(), handfast::frame::command::BuildError>(())
/// ```
///
/// # Errors
///
/// When no command has that name, or a field is missing, unknown, of another kind or does not fit.
pub fn from_text(text: &str, version: Option<MacVersion>) -> Result<Command, BuildError> {
    let mut words = text.split([' ', ',', '\t']).filter(|word| !word.is_empty());
    let name = words.next().unwrap_or_default();
    let row = row_by_name(name, version)
        .ok_or_else(|| BuildError::NoSuchCommand { name: name.to_owned() })?;
    let mut values: Vec<(&str, FieldValue)> = Vec::new();
    for word in words {
        let (field, value) = word.split_once('=').unwrap_or((word, ""));
        let spec =
            row.fields.iter().find(|f| f.name.eq_ignore_ascii_case(field)).ok_or_else(|| {
                BuildError::NoSuchField { command: row.name, field: field.to_owned() }
            })?;
        let value = spec
            .value_of_text(value)
            .ok_or(BuildError::WrongKind { command: row.name, field: spec.name })?;
        values.push((spec.name, value));
    }
    compose(row, &values, version)
}

impl FieldSpec {
    fn value_of_text(&self, text: &str) -> Option<FieldValue> {
        self.value_of(match self.kind.coding {
            Coding::Flag => Given::Flag(match text.to_ascii_lowercase().as_str() {
                "1" | "yes" | "true" => true,
                "0" | "no" | "false" => false,
                _ => return None,
            }),
            Coding::Number | Coding::Signed | Coding::Line { .. } | Coding::Hertz => {
                Given::Number(number(text)?)
            }
            Coding::Mask | Coding::Address | Coding::Key | Coding::Octets => Given::Text(text),
        })
    }
}

fn number(text: &str) -> Option<i64> {
    match text.strip_prefix("0x").or_else(|| text.strip_prefix("0X")) {
        Some(digits) => i64::from_str_radix(digits, 16).ok(),
        None => text.parse().ok(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_command_is_written_as_name_and_fields() {
        let text = "linkadrreq DataRate=5, TXPower=0 ChMask=00ff chmaskcntl=0x0 NbTrans=1";
        assert_eq!(from_text(text, None).unwrap().octets, [0x03, 0x50, 0xFF, 0x00, 0x01]);
        let text = "LinkADRAns PowerACK=yes DataRateACK=0 ChannelMaskACK=true";
        assert_eq!(from_text(text, None).unwrap().octets, [0x03, 0b101]);
        let text = "RXParamSetupReq RX1DROffset=1 RX2DataRate=3 Frequency=869525000";
        assert_eq!(from_text(text, None).unwrap().octets, [0x05, 0x13, 0xD2, 0xAD, 0x84]);
    }

    #[test]
    fn what_is_wrong_is_named() {
        let words = |text| from_text(text, None).unwrap_err().to_string();
        assert_eq!(words("LinkAdrRequest"), "no MAC command is called LinkAdrRequest");
        assert_eq!(words("DutyCycleReq Max=7"), "DutyCycleReq has no field Max");
        assert_eq!(
            words("DutyCycleReq MaxDCycle=much"),
            "DutyCycleReq: MaxDCycle takes another kind of value"
        );
        assert_eq!(
            words("DutyCycleReq MaxDCycle=16"),
            "DutyCycleReq: MaxDCycle does not fit its 4 bits"
        );
    }
}
