//! Labels of nodes: the identification string (TR005, usually a QR code), or what is printed next to it.
//!
//! ```text
//! LW:D0:<JoinEUI 16>:<DevEUI 16>:<ProfileID 8>[:O<owner token>][:S<serial number>][:P<proprietary>][:C<checksum 4>]
//! ```
//!
//! JoinEUI comes first. The string never carries a key. The checksum's form is checked, not its value:
//! the rule is not public enough to call a label wrong by it. Labels of older drafts start with
//! `URN:DEV:LW:` or `URN:LW:DP:`, separate their parts by `_`, and have four digits of ProfileID or
//! empty EUIs (seen in the field).
//!
//! [`read`] takes whole lists: strings, EUIs alone, and EUIs and keys behind their names.

mod list;

use std::str::FromStr;

pub use list::{LabelFault, LabelFaultKind, Labels, PrintedLabel, read};

use crate::id::{DevEui, IdError, JoinEui};

/// What the identification string of a label says.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct Label {
    /// JoinEUI; none where its part is empty.
    pub join_eui: Option<JoinEui>,
    /// DevEUI; none where its part is empty.
    pub dev_eui: Option<DevEui>,
    /// VendorID, then VendorProfileID, 16 bits each; the latter alone where only that is printed.
    pub profile_id: u32,
}

/// Why a text is no identification string. Positions are in characters, from 1.
#[derive(Clone, Copy, Debug, Eq, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum LabelError {
    /// Another beginning.
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
    /// Both EUIs are empty.
    #[error("the string has neither a JoinEUI nor a DevEUI")]
    NoEui,
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
        let (form, rest) = form(text).ok_or(LabelError::Start)?;
        let position = text.chars().count() - rest.chars().count() + 1;
        let separators = form.separators;
        let mut parts = Parts { rest: Some(rest), position, end: text.chars().count(), separators };
        let join_eui = parts.digits("JoinEUI", &[16, 0])?;
        let dev_eui = parts.digits("DevEUI", &[16, 0])?;
        if join_eui.is_empty() && dev_eui.is_empty() {
            return Err(LabelError::NoEui);
        }
        let profile_id = parts.digits("ProfileID", &[8, 4])?;
        while let Some((position, part)) = parts.next() {
            let mut characters = part.chars();
            let letter = characters.next().map(|letter| letter.to_ascii_uppercase());
            let value = characters.as_str();
            // V is the owner token of the drafts.
            if !matches!(letter, Some('O' | 'S' | 'P' | 'C' | 'V')) || value.is_empty() {
                return Err(LabelError::Letter { position });
            }
            if letter == Some('C') && !is_hex(value, 4) {
                let position = position + 1;
                return Err(LabelError::Part { position, part: "checksum", digits: 4 });
            }
        }
        let id = |_: IdError| LabelError::Start;
        let stated = |text: &str| (!text.is_empty()).then(|| text.to_owned());
        let parse = |text: Option<String>| text.map(|text| text.parse()).transpose().map_err(id);
        Ok(Self {
            join_eui: parse(stated(join_eui))?.map(JoinEui),
            dev_eui: parse(stated(dev_eui))?.map(DevEui),
            profile_id: u32::from_str_radix(profile_id, 16).map_err(|_| LabelError::Start)?,
        })
    }
}

/// A way to write the string.
struct Form {
    start: &'static str,
    separators: &'static [char],
}

const FORMS: [Form; 3] = [
    Form { start: "LW:D0:", separators: &[':'] },
    Form { start: "URN:DEV:LW:", separators: &['_', ':'] },
    Form { start: "URN:LW:DP:", separators: &['_', ':'] },
];

/// Returns the form that a text starts in, in any case, and what follows.
fn form(text: &str) -> Option<(&'static Form, &str)> {
    FORMS.iter().find_map(|form| {
        let (head, rest) = text.split_at_checked(form.start.len())?;
        head.eq_ignore_ascii_case(form.start).then_some((form, rest))
    })
}

/// The parts between separators.
struct Parts<'t> {
    rest: Option<&'t str>,
    position: usize,
    end: usize,
    separators: &'static [char],
}

impl<'t> Parts<'t> {
    fn next(&mut self) -> Option<(usize, &'t str)> {
        let rest = self.rest?;
        let (part, rest) =
            rest.split_once(self.separators).map_or((rest, None), |(p, r)| (p, Some(r)));
        self.rest = rest;
        let position = self.position;
        self.position += part.chars().count() + 1;
        Some((position, part))
    }

    /// Takes the next part, which has one of these numbers of digits; the first is named in errors.
    fn digits(&mut self, part: &'static str, digits: &[usize]) -> Result<&'t str, LabelError> {
        match self.next() {
            None => Err(LabelError::Missing { position: self.end, part }),
            Some((_, text)) if digits.iter().any(|digits| is_hex(text, *digits)) => Ok(text),
            Some((position, "")) if self.rest.is_none() => {
                Err(LabelError::Missing { position: position - 1, part })
            }
            Some((position, _)) => {
                let digits = digits.first().copied().unwrap_or_default();
                Err(LabelError::Part { position, part, digits })
            }
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
    fn the_join_eui_comes_first_in_every_form() {
        for text in [
            "LW:D0:020000FFFE00FFFF:020000fffe001207:0A0B0C0D:S12:C00FF",
            "lw:d0:020000fffe00ffff:020000fffe001207:0a0b0c0d",
            "URN:DEV:LW:020000FFFE00FFFF_020000FFFE001207_0A0B0C0D_V01_S12",
            "URN:LW:DP:020000FFFE00FFFF:020000FFFE001207:0A0B0C0D",
        ] {
            let label: Label = text.parse().unwrap_or_else(|error| panic!("{text}: {error}"));
            assert_eq!(label.join_eui.unwrap().hex(), "020000fffe00ffff", "{text}");
            assert_eq!(label.dev_eui.unwrap().hex(), "020000fffe001207", "{text}");
            assert_eq!(label.profile_id, 0x0A0B_0C0D, "{text}");
        }
    }

    #[test]
    fn an_empty_eui_is_not_stated() {
        let label: Label = "LW:D0::020000FFFE001207:0C0D".parse().unwrap();
        assert_eq!((label.join_eui, label.profile_id), (None, 0x0C0D));
        assert_eq!("LW:D0:::0A0B0C0D".parse::<Label>(), Err(LabelError::NoEui));
    }

    #[test]
    fn errors_say_where() {
        let part = |position, part, digits| LabelError::Part { position, part, digits };
        let missing = |position, part| LabelError::Missing { position, part };
        for (text, error) in [
            ("", LabelError::Start),
            ("LW:D1:", LabelError::Start),
            ("020000FFFE001207", LabelError::Start),
            ("URN:LW:DP:42", part(11, "JoinEUI", 16)),
            ("LW:D0:", missing(6, "DevEUI")),
            ("LW:D0:020000FFFE00FFF:", part(7, "JoinEUI", 16)),
            ("LW:D0:020000FFFE00FFFF", missing(22, "DevEUI")),
            ("LW:D0:020000FFFE00FFFF:x", part(24, "DevEUI", 16)),
            ("LW:D0:020000FFFE00FFFF:020000FFFE001207:0A0B0", part(41, "ProfileID", 8)),
            ("LW:D0:020000FFFE00FFFF:020000FFFE001207:", missing(40, "ProfileID")),
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
