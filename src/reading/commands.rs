//! The MAC commands of a frame: where their list stands, and what is wrong with it.

use super::{Problem, Wrong};
use crate::frame::{
    Direction, Field, MacVersion,
    command::{self, Commands, Why},
};

/// The MAC commands of a frame.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct CommandList {
    /// The octet of the PHYPayload at which the list begins.
    pub at: usize,
    /// The field that it is in: FOpts, or FRMPayload on FPort 0.
    pub field: Field,
    /// Whether these octets are the list for sure: the MIC holds, or the version is stated to be one
    /// that sends FOpts in clear. Otherwise they may be encrypted, or noise.
    pub certain: bool,
    /// The commands.
    pub commands: Commands,
}

impl CommandList {
    /// Returns whether a command carries a key, so that the list may not be printed.
    pub fn holds_a_key(&self) -> bool {
        let cut = self.commands.trailing.as_ref().is_some_and(
            |trailing| matches!(trailing.why, Why::Cut { row, .. } if row.holds_a_key()),
        );
        cut || self.commands.commands.iter().any(|command| command.row.holds_a_key())
    }

    /// Returns what the standard forbids in the list, at the octets of the frame.
    pub(super) fn problems(&self) -> Vec<Problem> {
        let certain = self.certain;
        let faults = self.commands.faults().into_iter();
        faults
            .map(|fault| Problem {
                offset: self.at + fault.at.start,
                field: self.field,
                what: Wrong::Command { fault, certain },
            })
            .collect()
    }
}

/// How well octets fit a list of MAC commands, the worst first.
#[derive(Clone, Copy, Debug, Eq, Ord, PartialEq, PartialOrd)]
pub(super) enum Fit {
    /// They do not split into commands.
    Noise,
    /// They split up to a proprietary command, whose length nobody knows.
    UpToProprietary,
    /// They split to the last one, and say what the standard forbids.
    Faulty,
    /// They split to the last one, and all is lawful.
    Lawful,
}

/// Returns how well octets fit a list of MAC commands.
pub(super) fn fit(octets: &[u8], direction: Direction, version: Option<MacVersion>) -> Fit {
    let list = command::decode(octets, direction, version);
    match &list.trailing {
        None if list.faults().is_empty() => Fit::Lawful,
        None => Fit::Faulty,
        // Half of all noise begins with a CID of the proprietary half.
        Some(trailing) if trailing.why == Why::Proprietary && !list.commands.is_empty() => {
            Fit::UpToProprietary
        }
        Some(_) => Fit::Noise,
    }
}
