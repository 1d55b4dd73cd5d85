//! The working: every computation as one would do it on paper, step by step.
//!
//! A [`Sheet`] is one computation: a MIC, a key stream, a key. Its steps name what goes in, what is
//! done and what comes out, so that whoever follows them with pencil and an AES block cipher gets
//! the same octets. The blocks are those that [`crypto`](crate::crypto) itself computes with; the
//! steps around them are few:
//!
//! | step | what is done |
//! |------|--------------|
//! | given | nothing: octets of the frame, a key, zeros |
//! | a, b | octets one after the other |
//! | AES(K, b) | the block b encrypted under the key K (FIPS 197) |
//! | a xor b | bit by bit, as long as the shorter one |
//! | double(a) | shifted left by one bit; if a 1 fell out, the last octet xor 87 (RFC 4493, 2.3) |
//! | pad(a) | 80 and then zeros after it, to 16 octets (RFC 4493, 2.4) |
//! | `a[i..j]` | octets i to j of it, counted from 0 |
//!
//! Keys stand in the open here: a sheet is for whoever asked for it.

mod cipher;
mod cmac;
mod desk;
mod frame;
mod keys;
mod node;

use std::ops::Range;

use zeroize::Zeroize;

pub use frame::of_reading;
pub(crate) use keys::{Group, join_server_keys, multicast, session_1_0, session_1_1};
pub use node::of_node;

/// One computation, step by step.
#[derive(Clone, Debug)]
pub struct Sheet {
    /// What is computed.
    pub title: String,
    /// The steps, in order; each uses names of those before it.
    pub steps: Vec<Step>,
    /// What it comes to, in a sentence.
    pub end: String,
}

/// One step: a name, what is done, what comes out.
#[derive(Clone, Debug)]
pub struct Step {
    /// The name of what comes out; no other step of the sheet has it.
    pub name: String,
    /// What is done.
    pub op: Op,
    /// What comes out.
    pub output: SecretOctets,
    /// Whether who knows it knows a key, or enough of one to forge.
    pub secret: bool,
    /// What it is, where the name does not say.
    pub note: String,
}

/// What a step does.
#[derive(Clone, Debug, Eq, PartialEq)]
pub enum Op {
    /// Nothing: the octets are given.
    Given,
    /// Octets one after the other.
    Join(Vec<Part>),
    /// One block encrypted.
    Aes {
        /// The name of the key.
        key: String,
        /// The name of the block.
        block: String,
    },
    /// Exclusive or.
    Xor(Vec<String>),
    /// Doubled in GF(2^128).
    Double(String),
    /// Padded to a block.
    Pad(String),
    /// Some octets of it.
    SecretOctets(String, Range<usize>),
}

/// A part of joined octets.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct Part {
    /// Its name; one that a step bears is that step's output.
    pub name: String,
    /// Its octets.
    pub octets: Vec<u8>,
    /// What it is, as people write it.
    pub note: String,
}

/// Octets that may be a key: wiped when dropped, mute in `Debug`.
#[derive(Clone, Zeroize)]
#[zeroize(drop)]
pub struct SecretOctets(Vec<u8>);

impl SecretOctets {
    /// Returns the octets, for a user who asked to see them.
    pub fn revealed(&self) -> &[u8] {
        &self.0
    }
}

impl std::fmt::Debug for SecretOctets {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Octets({})", self.0.len())
    }
}

impl Sheet {
    /// Returns the last step's output: what the sheet is about.
    pub fn result(&self) -> &[u8] {
        self.steps.last().map(|step| step.output.revealed()).unwrap_or_default()
    }

    /// Returns the output of the step of that name.
    pub fn output(&self, name: &str) -> Option<&[u8]> {
        self.steps.iter().find(|step| step.name == name).map(|step| step.output.revealed())
    }
}

impl Op {
    /// Returns what is done, as one writes it: `AES(AppKey, M_1)`; nothing where octets are given.
    pub fn formula(&self) -> String {
        match self {
            Self::Given => String::new(),
            Self::Join(parts) => {
                let names: Vec<_> = parts.iter().map(|part| part.name.as_str()).collect();
                names.join(" | ")
            }
            Self::Aes { key, block } => format!("AES({key}, {block})"),
            Self::Xor(names) => names.join(" xor "),
            Self::Double(name) => format!("double({name})"),
            Self::Pad(name) => format!("pad({name})"),
            Self::SecretOctets(name, at) => {
                format!("{name}[{}..{}]", at.start, at.end.saturating_sub(1))
            }
        }
    }
}
