//! Values of the file, each read as what its member wants.

use std::{ops::Range, str::FromStr};

use toml::{
    Spanned,
    de::{DeArray, DeTable, DeValue},
};

use super::error::FaultKind;
use crate::{id::IdError, region::Plan, words::is_key_shaped};

/// A fault within a member's value.
#[derive(Debug)]
pub(super) struct ValueFault {
    pub(super) kind: FaultKind,
    /// Which element of a list, from 0, and where it stands.
    pub(super) element: Option<(usize, Range<usize>)>,
}

impl From<FaultKind> for ValueFault {
    fn from(kind: FaultKind) -> Self {
        Self { kind, element: None }
    }
}

/// A value, to be asked for what it should be.
#[derive(Clone, Copy, Debug)]
pub(super) struct Value<'v>(pub(super) &'v DeValue<'v>);

impl<'v> Value<'v> {
    fn wrong(self, wanted: &'static str) -> FaultKind {
        let found = match self.0 {
            DeValue::String(_) => "a text in quotes",
            DeValue::Integer(_) => "a number without quotes",
            DeValue::Float(_) => "a number with a decimal point",
            DeValue::Boolean(_) => "true or false",
            DeValue::Datetime(_) => "a date or time",
            DeValue::Array(_) => "a list",
            DeValue::Table(_) => "a table",
        };
        FaultKind::WrongType { wanted, found }
    }

    pub(super) fn text(self, wanted: &'static str) -> Result<&'v str, FaultKind> {
        match self.0 {
            DeValue::String(text) => Ok(text),
            _ => Err(self.wrong(wanted)),
        }
    }

    pub(super) fn table(self, wanted: &'static str) -> Result<&'v DeTable<'v>, FaultKind> {
        match self.0 {
            DeValue::Table(table) => Ok(table),
            _ => Err(self.wrong(wanted)),
        }
    }

    pub(super) fn array(self, wanted: &'static str) -> Result<&'v DeArray<'v>, FaultKind> {
        match self.0 {
            DeValue::Array(array) => Ok(array),
            _ => Err(self.wrong(wanted)),
        }
    }

    /// Reads a name for people.
    pub(super) fn name(self) -> Result<String, FaultKind> {
        let name = self.text("a name in quotes")?;
        if name.chars().any(char::is_control) {
            return Err(FaultKind::ControlCharacter);
        }
        if is_key_shaped(name) {
            return Err(FaultKind::KeyAsName);
        }
        Ok(name.to_owned())
    }

    pub(super) fn flag(self) -> Result<bool, FaultKind> {
        match self.0 {
            DeValue::Boolean(flag) => Ok(*flag),
            _ => Err(self.wrong("true or false without quotes")),
        }
    }

    pub(super) fn id<T: FromStr<Err = IdError>>(
        self,
        example: &'static str,
    ) -> Result<T, FaultKind> {
        self.text(example)?.trim().parse().map_err(|why| FaultKind::Id { why, example })
    }

    pub(super) fn number<T: TryFrom<u64>>(self, least: u64, most: u64) -> Result<T, FaultKind> {
        let DeValue::Integer(number) = self.0 else {
            return Err(self.wrong("a number without quotes"));
        };
        u64::from_str_radix(number.as_str(), number.radix())
            .ok()
            .filter(|number| (least..=most).contains(number))
            .and_then(|number| T::try_from(number).ok())
            .ok_or(FaultKind::OutOfRange { least, most })
    }

    /// Reads a frequency in hertz; one in megahertz or kilohertz is out of range.
    pub(super) fn hertz(self) -> Result<u32, FaultKind> {
        if let DeValue::Float(_) = self.0 {
            return Err(self.wrong("a whole number of hertz such as 869525000"));
        }
        self.number(100_000_000, 3_000_000_000)
    }

    pub(super) fn region(self) -> Result<&'static Plan, FaultKind> {
        let name = self.text("the name of a region such as \"EU868\"")?;
        Plan::by_name(name.trim()).ok_or(FaultKind::NoRegion)
    }

    /// Reads a sub-band: up to as many as the plan with the most has. Which plan it is of is not known
    /// here.
    pub(super) fn sub_band(self) -> Result<u8, FaultKind> {
        self.number(1, u64::from(most_sub_bands()))
    }

    /// Reads the name or address of a server.
    pub(super) fn server(self) -> Result<String, FaultKind> {
        let wanted = "the name or address of a server in quotes";
        let name = self.text(wanted)?.trim();
        if name.is_empty() || name.chars().any(|c| c.is_control() || c.is_whitespace()) {
            return Err(FaultKind::Server);
        }
        Ok(name.to_owned())
    }

    /// Reads a text, or a list of texts.
    pub(super) fn texts(self, wanted: &'static str) -> Result<Vec<&'v str>, FaultKind> {
        match self.0 {
            DeValue::Array(array) if !array.is_empty() => {
                array.iter().map(|element| Value(element.get_ref()).text(wanted)).collect()
            }
            _ => Ok(vec![self.text(wanted)?]),
        }
    }

    /// Reads one of several words, in any case.
    pub(super) fn one_of<T: Copy>(
        self,
        all: &[T],
        name: impl Fn(T) -> &'static str,
        choices: &'static str,
    ) -> Result<T, FaultKind> {
        let word = self.text(choices)?.trim();
        let found = all.iter().copied().find(|one| name(*one).eq_ignore_ascii_case(word));
        found.ok_or(FaultKind::NotOneOf { choices })
    }

    /// Reads a list; the first element that is wrong is the one told of.
    pub(super) fn list<T>(
        self,
        wanted: &'static str,
        read: impl Fn(Self) -> Result<T, FaultKind>,
    ) -> Result<Vec<T>, ValueFault> {
        let array = self.array(wanted)?;
        array
            .iter()
            .enumerate()
            .map(|(index, element)| {
                read(Value(element.get_ref()))
                    .map_err(|kind| ValueFault { kind, element: Some((index, element.span())) })
            })
            .collect()
    }
}

/// Returns the number of sub-bands of the plan with the most.
pub(super) fn most_sub_bands() -> u8 {
    Plan::all().iter().map(|plan| plan.sub_bands).max().unwrap_or(0)
}

/// Returns the members of a table in the order of the file.
pub(super) fn in_order<'t>(
    table: &'t DeTable<'t>,
) -> Vec<(&'t Spanned<std::borrow::Cow<'t, str>>, &'t Spanned<DeValue<'t>>)> {
    let mut members: Vec<_> = table.iter().collect();
    members.sort_by_key(|(name, _)| name.span().start);
    members
}
