//! What is wrong with a roster, and what merely looks wrong.
//!
//! No message repeats a value of the file: whatever stands there may be a key in the wrong place.

use std::{
    fmt, io,
    path::{Path, PathBuf},
};

use super::{ClaimKind, gateway_config::ConfigFault, label::LabelError};
use crate::{
    id::IdError,
    key::KeyError,
    words::{Reason, Visible},
};

/// A roster that cannot be used, with every fault found in it.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct RosterError {
    /// The file, where there is one.
    pub file: Option<PathBuf>,
    /// The faults in the order of the file, at least one.
    pub faults: Vec<RosterFault>,
}

impl RosterError {
    /// Returns the error of one fault that is the file's as a whole.
    pub(super) fn whole(kind: FaultKind) -> Self {
        let fault = RosterFault { position: None, member: String::new(), kind };
        Self { file: None, faults: vec![fault] }
    }
}

impl fmt::Display for RosterError {
    /// Prints a line for each fault: `roster.toml:7:12: node[0].firmware.app-key: ...`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let file = self.file.as_deref().unwrap_or(Path::new("roster"));
        for (i, fault) in self.faults.iter().enumerate() {
            let separator = if fault.position.is_some() { ":" } else { ": " };
            let start = if i == 0 { "" } else { "\n" };
            write!(f, "{start}{}{separator}{fault}", Visible::path(file))?;
        }
        Ok(())
    }
}

impl std::error::Error for RosterError {}

/// Something wrong at one place of a roster.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct RosterFault {
    /// Where; `None` where it is the whole file's.
    pub position: Option<Position>,
    /// The member, such as `node[0].firmware.app-key`; empty where there is none.
    pub member: String,
    /// What is wrong.
    pub kind: FaultKind,
}

impl fmt::Display for RosterFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(position) = self.position {
            write!(f, "{position}: ")?;
        }
        if !self.member.is_empty() {
            write!(f, "{}: ", self.member)?;
        }
        self.kind.fmt(f)
    }
}

/// A place in a text, in characters.
#[derive(Clone, Copy, Debug, Eq, Ord, PartialEq, PartialOrd)]
pub struct Position {
    /// Line, from 1.
    pub line: usize,
    /// Column, from 1.
    pub column: usize,
}

impl Position {
    /// Returns the place of that octet of a text.
    pub(super) fn of(text: &str, octet: usize) -> Self {
        let before = text.get(..octet).unwrap_or(text);
        let line = before.matches('\n').count() + 1;
        let last = before.rsplit('\n').next().unwrap_or_default();
        Self { line, column: last.chars().count() + 1 }
    }
}

impl fmt::Display for Position {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}", self.line, self.column)
    }
}

/// What is wrong, and what a right one looks like.
#[derive(Clone, Debug, Eq, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum FaultKind {
    /// The file cannot be read.
    #[error("cannot be read: {}", Reason(*.0))]
    Unreadable(io::ErrorKind),
    /// A file too large to be a roster.
    #[error("longer than {cap} bytes: no roster is")]
    TooLarge {
        /// Octets that a roster may have.
        cap: u64,
    },
    /// Octets that are not UTF-8.
    #[error("line {}, column {}: not UTF-8 text", at.line, at.column)]
    NotUtf8 {
        /// Where.
        at: Position,
    },
    /// No TOML.
    #[error("{message}; texts are in double quotes, lists in brackets, tables start with [name]")]
    Syntax {
        /// What the reader of TOML says, long hex left out.
        message: String,
    },
    /// A member that a roster does not have.
    #[error("no such member{}", did_you_mean(nearest.as_deref()))]
    UnknownMember {
        /// The known one that resembles it most.
        nearest: Option<String>,
    },
    /// A value of another type.
    #[error("{wanted} expected, found {found}")]
    WrongType {
        /// What belongs there.
        wanted: &'static str,
        /// What type stands there.
        found: &'static str,
    },
    /// No identifier.
    #[error("{why}; {example} expected")]
    Id {
        /// Why not.
        why: IdError,
        /// A right one.
        example: &'static str,
    },
    /// No key.
    #[error("{0}; a key is 32 hex digits in quotes, most significant first")]
    Key(KeyError),
    /// A key that is given twice.
    #[error("the same key as `{other}`: give one of the two")]
    KeyTwice {
        /// The other member.
        other: String,
    },
    /// A key file that cannot be read.
    #[error("the key file cannot be read: {}; its path starts in the roster's folder", Reason(*.0))]
    KeyFile(io::ErrorKind),
    /// A key file with anything but one short line in it.
    #[error("the key file is not one line of text: 32 hex digits and nothing else expected")]
    KeyFileForm,
    /// An environment variable that is not set, or not text.
    #[error("no environment variable of that name holds text")]
    KeyEnv,
    /// A word that has no meaning here.
    #[error("one of {choices} expected")]
    NotOneOf {
        /// All that have one.
        choices: &'static str,
    },
    /// No region of that name.
    #[error(
        "no region of that name; a common name of RP002 such as \"EU868\" or \"US915\" expected"
    )]
    NoRegion,
    /// A number outside its range.
    #[error("a number from {least} to {most} expected")]
    OutOfRange {
        /// The least that is right.
        least: u64,
        /// The most that is right.
        most: u64,
    },
    /// No ChMask words.
    #[error(
        "word {word} is not four hex digits; one to six words such as \
         \"FF00 0000 0000 0000 0002\" expected, the first for channels 0 to 15"
    )]
    ChannelMask {
        /// Which word, from 1.
        word: usize,
    },
    /// No prefix of DevAddr.
    #[error("a DevAddr and a number of bits up to 32 such as \"02000000/7\" expected")]
    Prefix,
    /// No identification string.
    #[error("{0}; \"LW:D0:<JoinEUI>:<DevEUI>:<ProfileID>\" expected (TR005)")]
    Label(LabelError),
    /// Control characters where people's eyes are to fall.
    #[error("control characters do not belong in a name")]
    ControlCharacter,
    /// A name that may be a key.
    #[error("a name expected, and this has the shape of a key: it is not shown")]
    KeyAsName,
    /// A server's name or address that is none.
    #[error("no name or address of a server, such as \"lns.orchard.example\"")]
    Server,
    /// A gateway's configuration that cannot be read.
    #[error("{0}")]
    Config(Box<ConfigFault>),
    /// A member that must be there.
    #[error("`{member}` is missing")]
    Missing {
        /// Its name.
        member: &'static str,
    },
}

impl FaultKind {
    pub(super) fn not_utf8(octets: &[u8], error: std::str::Utf8Error) -> Self {
        let before = octets.get(..error.valid_up_to()).unwrap_or_default();
        let before = std::str::from_utf8(before).unwrap_or_default();
        Self::NotUtf8 { at: Position::of(before, before.len()) }
    }
}

fn did_you_mean(nearest: Option<&str>) -> String {
    nearest.map_or_else(String::new, |nearest| format!("; did you mean `{nearest}`?"))
}

/// What is lawful but looks like a slip.
#[derive(Clone, Debug, Eq, PartialEq)]
#[non_exhaustive]
pub enum RosterWarning {
    /// Two nodes of one name.
    SameName {
        /// The name.
        name: String,
        /// Place of the first in the roster, from 0.
        first: usize,
        /// Place of the second.
        second: usize,
    },
    /// Two nodes of one DevEUI by the same kind of claim.
    SameDevEui {
        /// The kind.
        claim: ClaimKind,
        /// Name of the first.
        first: String,
        /// Name of the second.
        second: String,
    },
    /// Two gateways of one EUI.
    SameGateway {
        /// Place of the first in the roster, from 0.
        first: usize,
        /// Place of the second.
        second: usize,
    },
    /// A claim whose `qr` says another EUI than the member beside it; the member counts.
    QrDiffers {
        /// The claim.
        claim: ClaimKind,
        /// Name of the node.
        node: String,
        /// The member: `dev-eui` or `join-eui`.
        member: &'static str,
    },
    /// A file with keys that everybody on this machine may read.
    ReadableByAll {
        /// The file.
        path: PathBuf,
    },
}

impl fmt::Display for RosterWarning {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::SameName { name, first, second } => {
                write!(f, "node[{first}] and node[{second}] are both called {name}")
            }
            Self::SameDevEui { claim, first, second } => {
                write!(f, "{first} and {second} have the same dev-eui in {}", claim.name())
            }
            Self::SameGateway { first, second } => {
                write!(f, "gateway[{first}] and gateway[{second}] have the same eui")
            }
            Self::QrDiffers { claim, node, member } => {
                let claim = claim.name();
                write!(f, "{node}: {claim}.qr and {claim}.{member} differ; {member} is used")
            }
            Self::ReadableByAll { path } => write!(
                f,
                "{} holds keys and everybody here may read it: chmod 600 fixes that",
                Visible::path(path)
            ),
        }
    }
}
