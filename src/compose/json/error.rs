//! What is wrong with the JSON of a frame, and what of it was left aside.

use crate::frame::{DecodeError, command::BuildError};

/// Something wrong with a member.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct JsonError {
    /// The member, such as `fields.FCnt`; empty for the object itself.
    pub member: String,
    /// What is wrong.
    pub fault: JsonFault,
}

impl JsonError {
    pub(super) fn new(member: &str, fault: JsonFault) -> Self {
        Self { member: member.to_owned(), fault }
    }
}

impl std::fmt::Display for JsonError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        if !self.member.is_empty() {
            write!(f, "{}: ", self.member)?;
        }
        self.fault.fmt(f)
    }
}

impl std::error::Error for JsonError {}

/// What is wrong with a member.
#[derive(Clone, Debug, Eq, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum JsonFault {
    /// It must be there.
    #[error("missing")]
    Missing,
    /// It is something else.
    #[error("{0} expected")]
    Wrong(&'static str),
    /// It says one thing and another member another; which of them was edited cannot be told.
    #[error("contradicts {0}: leave one of them out")]
    Contradicts(&'static str),
    /// A frame that is cut short.
    #[error("{0}")]
    Cut(DecodeError),
    /// No MAC command can be made of it.
    #[error("{0}")]
    Command(BuildError),
}

/// What of the JSON was left aside.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub enum Remark {
    /// `plaintext`: its key is not at hand, so the ciphertext in `fields` is sent.
    PlaintextUnused {
        /// The member of `plaintext`.
        member: &'static str,
    },
    /// The fields of a Join-Accept: no root key is at hand, so that it is sent as it was sealed.
    AcceptUnopened,
}

impl std::fmt::Display for Remark {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::PlaintextUnused { member } => write!(
                f,
                "plaintext.{member} is not used: without its key, fields.{member} is sent as it is"
            ),
            Self::AcceptUnopened => f.write_str(
                "the fields of the Join-Accept are not used: without a root key, PHYPayload is \
                 sent as it is",
            ),
        }
    }
}
