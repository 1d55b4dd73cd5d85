//! The identification string of a label: TR005, usually a QR code.
//!
//! ```text
//! LW:D0:<JoinEUI 16>:<DevEUI 16>:<ProfileID 8>[:O<owner token>][:S<serial number>][:P<proprietary>][:C<checksum 4>]
//! ```
//!
//! JoinEUI comes first. The string never carries a key. The checksum's form is looked at, not its
//! value: the rule is not public enough to call a label wrong by it.

use std::str::FromStr;

use crate::id::{DevEui, IdError, JoinEui};

/// What the identification string of a label says.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct Label {
    /// JoinEUI.
    pub join_eui: JoinEui,
    /// DevEUI.
    pub dev_eui: DevEui,
    /// VendorID, then VendorProfileID, 16 bits each.
    pub profile_id: u32,
}

/// Why a text is no identification string. Positions are in characters, from 1.
#[derive(Clone, Copy, Debug, Eq, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum LabelError {
    /// Another beginning, or an older draft's.
    #[error("the string does not start with LW:D0:")]
    Start,
    /// A part that is missing.
    #[error("the string ends at character {position}, before its {part}")]
    Missing {
        /// Where it ends.
        position: usize,
        /// What is missing.
        part: &'static str,
    },
    /// A part that is not so many hex digits.
    #[error("{part} at character {position} is not {digits} hex digits")]
    Part {
        /// Where the part starts.
        position: usize,
        /// Which it is.
        part: &'static str,
        /// How many digits it has.
        digits: usize,
    },
    /// An optional part that starts with none of its letters, or is empty.
    #[error("the part at character {position} does not start with O, S, P or C and a value")]
    Letter {
        /// Where the part starts.
        position: usize,
    },
}

impl FromStr for Label {
    type Err = LabelError;

    fn from_str(text: &str) -> Result<Self, LabelError> {
        let rest = text.strip_prefix("LW:D0:").ok_or(LabelError::Start)?;
        let mut parts = Parts { rest: Some(rest), position: 7, end: text.chars().count() };
        let join_eui = parts.digits("JoinEUI", 16)?;
        let dev_eui = parts.digits("DevEUI", 16)?;
        let profile_id = parts.digits("ProfileID", 8)?;
        while let Some((position, part)) = parts.next() {
            let mut characters = part.chars();
            let letter = characters.next();
            let value = characters.as_str();
            if !matches!(letter, Some('O' | 'S' | 'P' | 'C')) || value.is_empty() {
                return Err(LabelError::Letter { position });
            }
            if letter == Some('C') && !is_hex(value, 4) {
                let position = position + 1;
                return Err(LabelError::Part { position, part: "checksum", digits: 4 });
            }
        }
        let id = |_: IdError| LabelError::Start;
        Ok(Self {
            join_eui: join_eui.parse().map_err(id)?,
            dev_eui: dev_eui.parse().map_err(id)?,
            profile_id: u32::from_str_radix(profile_id, 16).map_err(|_| LabelError::Start)?,
        })
    }
}

/// The parts between colons.
struct Parts<'t> {
    rest: Option<&'t str>,
    position: usize,
    end: usize,
}

impl<'t> Parts<'t> {
    fn next(&mut self) -> Option<(usize, &'t str)> {
        let rest = self.rest?;
        let (part, rest) = rest.split_once(':').map_or((rest, None), |(p, r)| (p, Some(r)));
        self.rest = rest;
        let position = self.position;
        self.position += part.chars().count() + 1;
        Some((position, part))
    }

    fn digits(&mut self, part: &'static str, digits: usize) -> Result<&'t str, LabelError> {
        match self.next() {
            None => Err(LabelError::Missing { position: self.end, part }),
            Some((_, text)) if is_hex(text, digits) => Ok(text),
            Some((position, _)) => Err(LabelError::Part { position, part, digits }),
        }
    }
}

fn is_hex(text: &str, digits: usize) -> bool {
    text.len() == digits && text.chars().all(|c| c.is_ascii_hexdigit())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_join_eui_comes_first() {
        let label: Label =
            "LW:D0:020000FFFE00FFFF:020000fffe001207:0A0B0C0D:S12:C00FF".parse().unwrap();
        assert_eq!(label.join_eui.hex(), "020000fffe00ffff");
        assert_eq!(label.dev_eui.hex(), "020000fffe001207");
        assert_eq!(label.profile_id, 0x0A0B_0C0D);
    }

    #[test]
    fn errors_say_where() {
        let part = |position, part, digits| LabelError::Part { position, part, digits };
        for (text, error) in [
            ("", LabelError::Start),
            ("LW:D1:", LabelError::Start),
            ("URN:LW:DP:42", LabelError::Start),
            ("LW:D0:", part(7, "JoinEUI", 16)),
            ("LW:D0:020000FFFE00FFF:", part(7, "JoinEUI", 16)),
            ("LW:D0:020000FFFE00FFFF", LabelError::Missing { position: 22, part: "DevEUI" }),
            ("LW:D0:020000FFFE00FFFF:x", part(24, "DevEUI", 16)),
            ("LW:D0:020000FFFE00FFFF:020000FFFE001207:0A0B", part(41, "ProfileID", 8)),
            (
                "LW:D0:020000FFFE00FFFF:020000FFFE001207:0A0B0C0D:",
                LabelError::Letter { position: 50 },
            ),
            (
                "LW:D0:020000FFFE00FFFF:020000FFFE001207:0A0B0C0D:Sß:X1",
                LabelError::Letter { position: 53 },
            ),
            ("LW:D0:020000FFFE00FFFF:020000FFFE001207:0A0B0C0D:C1", part(51, "checksum", 4)),
        ] {
            assert_eq!(text.parse::<Label>(), Err(error), "{text}");
        }
    }
}
