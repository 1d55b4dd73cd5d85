//! What is wrong with a frame, and at which octet.

use std::fmt;

use super::{MicRule, Source};
use crate::{
    frame::{DecodeError, Fault, FaultKind, Field, LenFrom, command},
    words::Count,
};

/// One thing that is wrong.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct Problem {
    /// The octet at which it stands, from the start of the PHYPayload.
    pub offset: usize,
    /// The field.
    pub field: Field,
    /// What is wrong.
    pub what: Wrong,
}

/// What is wrong.
#[derive(Clone, Debug, Eq, PartialEq)]
#[non_exhaustive]
pub enum Wrong {
    /// The octets run out.
    Cut {
        /// Octets that the field needs.
        needed: usize,
        /// Octets there are.
        left: usize,
        /// What asks for so many.
        because: LenFrom,
    },
    /// Octets after the end of the message.
    Beyond {
        /// Octets there are.
        left: usize,
    },
    /// The standard forbids it.
    Forbidden(FaultKind),
    /// The MIC follows one version, OptNeg announces the other.
    OptNeg {
        /// The rule under which the MIC holds.
        rule: MicRule,
    },
    /// The MIC holds under the key of another node.
    OtherNode {
        /// The key.
        key: &'static str,
        /// Whose it is.
        source: Source,
    },
    /// FOpts split into MAC commands neither as 1.1 was published nor with its erratum.
    FOptsNoise,
    /// A list of MAC commands that does not end, or says what the standard forbids.
    Command {
        /// What is wrong with it; its octets are counted from the start of the list.
        fault: command::Fault,
        /// Whether these octets are a list of commands for sure.
        certain: bool,
    },
    /// The counter that was given does not fit; another one does.
    CounterGiven {
        /// As given.
        given: u32,
        /// As found.
        found: u32,
    },
}

impl Problem {
    /// Returns whether this is worth knowing and no fault: RFU bits, which receivers ignore, FPort 0
    /// with nothing on it, and what may be no MAC command at all.
    pub const fn is_remark(&self) -> bool {
        match &self.what {
            Wrong::Forbidden(kind) => {
                matches!(kind, FaultKind::RfuBits(_) | FaultKind::EmptyPort0)
            }
            Wrong::Command { fault, certain } => {
                !*certain || matches!(fault.what, command::Wrong::RfuBits { .. })
            }
            Wrong::Cut { .. }
            | Wrong::Beyond { .. }
            | Wrong::OptNeg { .. }
            | Wrong::OtherNode { .. }
            | Wrong::FOptsNoise
            | Wrong::CounterGiven { .. } => false,
        }
    }
}

impl From<&Fault> for Problem {
    fn from(fault: &Fault) -> Self {
        Self { offset: fault.at.start, field: fault.field, what: Wrong::Forbidden(fault.kind) }
    }
}

impl From<&DecodeError> for Problem {
    fn from(error: &DecodeError) -> Self {
        let what = match *error {
            DecodeError::TooShort { needed, left, because, .. } => {
                Wrong::Cut { needed, left, because }
            }
            DecodeError::TooLong { left, .. } => Wrong::Beyond { left },
        };
        Self { offset: error.offset(), field: error.field(), what }
    }
}

impl fmt::Display for Wrong {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Cut { needed, left, because } => {
                let needed = Count(*needed, "byte");
                write!(f, "cut short: {needed} needed ({because}), {left} left")
            }
            Self::Beyond { left } => {
                write!(f, "{} after the end of the message", Count(*left, "byte"))
            }
            Self::Forbidden(kind) => kind.fmt(f),
            Self::OptNeg { rule: MicRule::V1_0 } => f.write_str(
                "OptNeg is 1, which announces LoRaWAN 1.1, yet the MIC follows the rule of 1.0.x: \
                 a node that knows 1.1 refuses this Join-Accept",
            ),
            Self::OptNeg { rule: MicRule::V1_1 } => f.write_str(
                "OptNeg is 0, which announces LoRaWAN 1.0.x, yet the MIC follows the rule of 1.1: \
                 the node refuses this Join-Accept",
            ),
            Self::OtherNode { key, source } => {
                write!(f, "the MIC holds under {key} of another node ({source})")
            }
            Self::FOptsNoise => f.write_str(
                "no MAC commands after decryption, neither by 1.1 as published nor with its \
                 erratum: perhaps another NwkSEncKey",
            ),
            Self::Command { fault, certain: true } => fault.fmt(f),
            Self::Command { fault, certain: false } => {
                write!(f, "{fault}; or these are not MAC commands: nothing proves that they are")
            }
            Self::CounterGiven { given, found } => {
                write!(f, "the MIC holds with the full counter {found}, not with {given} as given")
            }
        }
    }
}
