//! Credentials as they are in a node's source: a C header, or any C, C++ or Rust file.
//!
//! Macros, constants, arrays, texts, numbers and struct initialisers become claims, one for each node that
//! the source holds. Names decide what a value is ([`Taken::member`]); a value whose name says
//! nothing is listed, not guessed. Where a source does not say in which order the bytes of an EUI
//! are, [`ByteOrder::Unknown`] says so: compare both, or ask ([`Firmware::settle`]).
//!
//! ```
//! use handfast::roster::firmware::{ByteOrder, SourceText, parse};
//!
//! let text = "// least significant octet first\n\
//!             #define DEV_EUI { 0x07, 0x12, 0x00, 0xFE, 0xFF, 0x00, 0x00, 0x02 }\n";
//! let firmware = parse(&[SourceText::new("probe.h", text)]);
//! let node = &firmware.nodes[0];
//! assert_eq!(node.claim.dev_eui.map(|eui| eui.hex()).as_deref(), Some("020000fffe001207"));
//! assert_eq!(node.taken[0].order, ByteOrder::Reversed);
//! ```
//!
//! A macro is put in its place, also where it stands for part of a list; conditions are not
//! evaluated, save `#if 0`: values under conditions that exclude each other are different nodes.

mod branch;
mod group;
mod lexer;
mod literal;
mod member;
mod names;
mod octets;
mod scan;
mod take;
mod value;

use std::{fmt, fs::File, io, io::Read, path::Path};

use zeroize::Zeroizing;

use super::{claim::Claim, error::Position};
use crate::{
    intake::file_text,
    words::{Count, Reason, Visible},
};

/// One source and what it is called.
#[derive(Clone)]
pub struct SourceText {
    name: String,
    text: Zeroizing<String>,
}

impl fmt::Debug for SourceText {
    /// Leaves the text out: it may hold keys.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("SourceText").field("name", &self.name).finish_non_exhaustive()
    }
}

impl SourceText {
    /// Returns a source of that name and text.
    pub fn new(name: impl Into<String>, text: impl Into<String>) -> Self {
        Self { name: name.into(), text: Zeroizing::new(text.into()) }
    }

    /// Returns the source in that file. Octets that are not UTF-8 count as unknown characters: many
    /// a comment is in an older encoding.
    ///
    /// # Errors
    ///
    /// [`SourceFault`] when the file cannot be read or is too large for a source.
    pub fn read_file(path: &Path) -> Result<Self, SourceFault> {
        let name = Visible::path(path).to_string();
        let fault = |kind| SourceFault { file: name.clone(), at: None, identifier: None, kind };
        let file = File::open(path).map_err(|e| fault(SourceFaultKind::Unreadable(e.kind())))?;
        let mut octets = Zeroizing::new(Vec::new());
        file.take(SIZE_CAP + 1)
            .read_to_end(&mut octets)
            .map_err(|e| fault(SourceFaultKind::Unreadable(e.kind())))?;
        if octets.len() as u64 > SIZE_CAP {
            return Err(fault(SourceFaultKind::TooLarge { cap: SIZE_CAP }));
        }
        // A comment may be in an older encoding. The text is moved, not copied: it may hold keys.
        let text = match file_text(&octets) {
            Ok(mut text) => std::mem::take(&mut *text),
            Err(_) => String::from_utf8_lossy(&octets).into_owned(),
        };
        Ok(Self::new(name, text))
    }
}

/// What sources say about nodes.
#[derive(Clone, Debug, Default)]
pub struct Firmware {
    /// The nodes, in the order of the sources.
    pub nodes: Vec<FirmwareNode>,
    /// Values that could be credentials and were not taken.
    pub left_out: Vec<LeftOut>,
    /// What is wrong; everything else is whole.
    pub faults: Vec<SourceFault>,
}

/// One node's values.
#[derive(Clone, Debug)]
pub struct FirmwareNode {
    /// What the source calls it, where it calls it anything.
    pub name: Option<String>,
    /// The values.
    pub claim: Claim,
    /// Where each value comes from.
    pub taken: Vec<Taken>,
}

/// What a value was taken for, and from where.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct Taken {
    /// The claim's member, as the roster spells it: `dev-eui`.
    pub member: &'static str,
    /// The name in the source.
    pub identifier: String,
    /// The source.
    pub file: String,
    /// Where the name stands.
    pub at: Position,
    /// In which order the octets stand.
    pub order: ByteOrder,
    /// What tells the order.
    pub order_from: OrderFrom,
}

impl Taken {
    /// Returns whether nothing says in which order the bytes are, of a value whose bytes have an order.
    pub fn is_order_open(&self) -> bool {
        self.order == ByteOrder::Unknown
            && matches!(self.member, "dev-eui" | "join-eui" | "dev-addr" | "net-id")
    }
}

impl Firmware {
    /// Takes all values of which nothing says the order for ones in this order.
    pub fn settle(&mut self, order: ByteOrder) {
        for node in &mut self.nodes {
            for taken in node.taken.iter_mut().filter(|taken| taken.is_order_open()) {
                if order == ByteOrder::Reversed {
                    node.claim.turn(taken.member);
                }
                taken.order = order;
                taken.order_from = OrderFrom::Asked;
            }
        }
    }
}

/// In which order the octets of a value stand in a source.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub enum ByteOrder {
    /// As printed: most significant octet first.
    Printed,
    /// Least significant octet first; the claim has them turned.
    Reversed,
    /// Nothing tells. The claim has them as written.
    Unknown,
}

impl ByteOrder {
    /// Returns `printed`, `reversed` or `unknown`.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Printed => "printed",
            Self::Reversed => "reversed",
            Self::Unknown => "unknown",
        }
    }
}

/// What tells the order of a value's octets.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub enum OrderFrom {
    /// A word of its name, such as `LSB`.
    Name,
    /// A comment at it or directly above it.
    Comment,
    /// It is a text or a number, which is written most significant first.
    Form,
    /// The user says so.
    Asked,
    /// In this order it is what another place has.
    Agreement,
    /// Nothing.
    Nothing,
}

impl fmt::Display for OrderFrom {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Name => "its name says so",
            Self::Comment => "a comment says so",
            Self::Form => "as texts and numbers are",
            Self::Asked => "as asked for",
            Self::Agreement => "as another place has it",
            Self::Nothing => "nothing in the source says",
        })
    }
}

/// A value that could be a credential and was not taken.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct LeftOut {
    /// The name in the source.
    pub identifier: String,
    /// The source.
    pub file: String,
    /// Where the name stands.
    pub at: Position,
    /// Why it was not taken.
    pub why: LeftOutWhy,
}

/// Why a value was not taken.
#[derive(Clone, Copy, Debug, Eq, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum LeftOutWhy {
    /// Its name says nothing.
    #[error("{octets} bytes under a name that says nothing")]
    UnknownName {
        /// How many octets it has.
        octets: usize,
    },
    /// It has the name of a value, but what stands there is known to the compiler alone.
    #[error("no value that can be read without compiling")]
    NoValue,
    /// There are several, and nothing says which counts.
    #[error("one of several values, and nothing says which counts")]
    Ambiguous,
    /// More values than are kept.
    #[error("there are too many values before it")]
    TooMany,
    /// It belongs to none of the nodes.
    #[error("no node here has it: there is no DevEUI next to it")]
    NoNode,
}

/// Something wrong at one place of a source. Never holds a digit of a value.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct SourceFault {
    /// The source.
    pub file: String,
    /// Where; none where it is the whole file's.
    pub at: Option<Position>,
    /// The name of the value.
    pub identifier: Option<String>,
    /// What is wrong.
    pub kind: SourceFaultKind,
}

impl fmt::Display for SourceFault {
    /// Prints `probe.h:7:12: dev_eui: ...`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.file)?;
        if let Some(at) = self.at {
            write!(f, ":{at}")?;
        }
        if let Some(identifier) = &self.identifier {
            write!(f, ": {identifier}")?;
        }
        write!(f, ": {}", self.kind)
    }
}

impl std::error::Error for SourceFault {}

/// What is wrong with a source.
#[derive(Clone, Debug, Eq, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum SourceFaultKind {
    /// The file cannot be read.
    #[error("cannot be read: {}", Reason(*.0))]
    Unreadable(io::ErrorKind),
    /// A file too large to be a source.
    #[error("longer than {cap} bytes: no source with credentials is")]
    TooLarge {
        /// Octets that a source may have.
        cap: u64,
    },
    /// A comment without an end.
    #[error("the comment that starts here has no end")]
    OpenComment,
    /// A text without an end.
    #[error("the text that starts here has no end on its line")]
    OpenText,
    /// A brace without an end.
    #[error("the brace that opens here is never closed")]
    OpenBrace,
    /// Another number of octets than the value has.
    #[error("{found} bytes, {wanted} expected")]
    Octets {
        /// How many there are.
        found: usize,
        /// How many there should be.
        wanted: usize,
    },
    /// Another number of hex digits than the value has.
    #[error("{}, {wanted} expected", Count(*.found, "hex digit"))]
    Digits {
        /// How many there are.
        found: usize,
        /// How many there should be.
        wanted: usize,
    },
    /// A character of a text that is neither a hex digit nor a separator.
    #[error("character {position} of the text is not a hex digit")]
    NotHex {
        /// Position in the text, from 1.
        position: usize,
    },
    /// An element that is no octet.
    #[error("element {element} is more than one byte")]
    NotAnOctet {
        /// Which, from 1.
        element: usize,
    },
    /// A number with more bits than the value has.
    #[error("the number has more than {bits} bits")]
    TooManyBits {
        /// The bits there are.
        bits: u32,
    },
}

/// Reads sources that belong together: a macro of one may be used in another.
pub fn parse(sources: &[SourceText]) -> Firmware {
    let texts: Vec<(&str, &str)> = sources
        .iter()
        // the mark that some editors put first is no character of C
        .map(|source| (source.name.as_str(), source.text.trim_start_matches('\u{feff}')))
        .collect();
    let taken = take::take(&texts);
    group::group(taken)
}

/// Octets that a source may have.
const SIZE_CAP: u64 = 4 << 20;
/// Faults and values left out that are told of at once.
const MOST_TOLD: usize = 50;
