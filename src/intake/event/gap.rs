//! Damage, and what may be missing because of it.

use std::fmt;

use crate::intake::{error::IntakeError, note::Note};

/// A place in which something cannot be read.
#[derive(Clone, Debug, PartialEq)]
pub struct Gap {
    /// What may be missing.
    pub lost: Lost,
    /// What is wrong.
    pub damage: Damage,
}

impl Gap {
    /// Returns whether it is a line of text that is nothing of a capture's own.
    pub const fn is_text(&self) -> bool {
        matches!(
            self.damage,
            Damage::All(
                IntakeError::Text(_)
                    | IntakeError::NoFrame { .. }
                    | IntakeError::NotAnObject
                    | IntakeError::NoDatagram
            )
        )
    }
}

/// What may be missing from a capture.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
#[non_exhaustive]
pub enum Lost {
    /// A frame that a gateway heard.
    Uplink,
    /// An order to send.
    Downlink,
    /// What became of an order to send.
    Outcome,
    /// Anything.
    Anything,
}

impl Lost {
    /// Returns whether it may be an order to send.
    pub const fn may_be_a_downlink(self) -> bool {
        matches!(self, Self::Downlink | Self::Anything)
    }
}

/// What is damaged.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum Damage {
    /// A line or a packet: nothing of it was taken.
    All(IntakeError),
    /// A member of a message, without which the frame or the answer in it cannot be read.
    Member(Note),
}

impl fmt::Display for Damage {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::All(why) => why.fmt(f),
            Self::Member(note) => note.fmt(f),
        }
    }
}
