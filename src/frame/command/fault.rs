//! What the standard forbids in a list of MAC commands, each with its place.

use alloc::vec::Vec;
use core::{fmt, ops::Range};

use super::{Command, Commands, Row, Why};
use crate::{frame::MacVersion, words::Count};

/// Something in a list that the standard forbids, and where.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct Fault {
    /// Octets of the list that it concerns.
    pub at: Range<usize>,
    /// What is wrong.
    pub what: Wrong,
}

/// What is wrong with a list of MAC commands.
#[derive(Clone, Debug, Eq, PartialEq)]
#[non_exhaustive]
pub enum Wrong {
    /// RFU bits that are not 0.
    RfuBits {
        /// The command.
        row: &'static Row,
        /// The RFU bits that are set.
        bits: u8,
    },
    /// A value that the standard reserves.
    Reserved {
        /// The command.
        row: &'static Row,
        /// The field.
        field: &'static str,
        /// Why the value may not be sent.
        why: &'static str,
    },
    /// A command that the version does not have.
    NotInVersion {
        /// The command.
        row: &'static Row,
        /// The version.
        version: MacVersion,
    },
    /// A CID that nobody knows.
    Unknown {
        /// The CID.
        cid: u8,
        /// Octets that stay unread because of it, itself included.
        unread: usize,
    },
    /// A payload that runs over the end of the list.
    Cut {
        /// The command.
        row: &'static Row,
        /// Payload octets it needs.
        needed: usize,
        /// Payload octets there are.
        left: usize,
    },
}

impl Commands {
    /// Returns everything in the list that the standard forbids, by offset.
    pub fn faults(&self) -> Vec<Fault> {
        let mut faults = Vec::new();
        for command in &self.commands {
            command.faults(self.version, &mut faults);
        }
        if let Some(trailing) = &self.trailing {
            let what = match trailing.why {
                Why::Unknown => {
                    Some(Wrong::Unknown { cid: trailing.cid, unread: trailing.octets.len() })
                }
                Why::Cut { row, needed, left } => Some(Wrong::Cut { row, needed, left }),
                Why::Proprietary => None,
            };
            faults.extend(what.map(|what| Fault { at: trailing.at.clone(), what }));
        }
        faults
    }
}

impl Command {
    fn faults(&self, version: Option<MacVersion>, faults: &mut Vec<Fault>) {
        if let Some(version) = version.filter(|v| !self.row.is_in(Some(*v))) {
            let what = Wrong::NotInVersion { row: self.row, version };
            faults.push(Fault { at: self.at.clone(), what });
        }
        for (i, bits) in self.rfu().into_iter().enumerate().filter(|(_, bits)| *bits != 0) {
            let at = self.at.start + 1 + i;
            faults.push(Fault { at: at..at + 1, what: Wrong::RfuBits { row: self.row, bits } });
        }
        for field in &self.fields {
            let Some(why) = field.value.number().and_then(field.spec.kind.reserved) else {
                continue;
            };
            let start = self.at.start + 1 + usize::from(field.spec.at);
            let at = start..start + usize::from(field.spec.width);
            let what = Wrong::Reserved { row: self.row, field: field.spec.name, why };
            faults.push(Fault { at, what });
        }
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.what {
            Wrong::RfuBits { row, bits } => {
                write!(f, "{}: RFU bits {bits:02X} are set; receivers ignore them", row.name)
            }
            Wrong::Reserved { row, field, why } => write!(f, "{}: {field} {why}", row.name),
            Wrong::NotInVersion { row, version } => write!(
                f,
                "{} is not a command of LoRaWAN {}: a receiver of that version stops reading here",
                row.name,
                version.name()
            ),
            Wrong::Unknown { cid, unread } => write!(
                f,
                "CID {cid:02X} is unknown, and so is its length: {} cannot be read",
                Count(*unread, "byte")
            ),
            Wrong::Cut { row, needed, left } => write!(
                f,
                "{}: {} needed after CID {:02X}, {left} left",
                row.name,
                Count(*needed, "byte"),
                row.cid
            ),
        }
    }
}
