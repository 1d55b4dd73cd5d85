//! What a MIC check says: that it holds and under which key, that it fails, or what would tell.

use std::fmt;

use super::Source;
use crate::frame::Mic;

/// The answer of a MIC check.
#[derive(Clone, Debug, Eq, PartialEq)]
pub enum MicVerdict {
    /// It holds.
    Holds(Proof),
    /// It fails under every key that should have signed the frame, the likeliest first.
    Fails(Vec<Tried>),
    /// It could not be checked.
    Unchecked(Unchecked),
}

/// By which text a MIC is computed, where the versions differ.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub enum MicRule {
    /// LoRaWAN 1.0.x, which 1.1 keeps for OptNeg 0 and for multicast.
    V1_0,
    /// LoRaWAN 1.1.
    V1_1,
}

impl MicRule {
    /// Returns `1.0` or `1.1`.
    pub const fn name(self) -> &'static str {
        match self {
            Self::V1_0 => "1.0",
            Self::V1_1 => "1.1",
        }
    }
}

/// A MIC that holds.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct Proof {
    /// The key's name; two names with `+` between them where two keys sign.
    pub key: &'static str,
    /// Where the key comes from.
    pub source: Source,
    /// The rule, where the versions differ.
    pub rule: Option<MicRule>,
}

/// A key that was tried in vain.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct Tried {
    /// The key's name.
    pub key: &'static str,
    /// Where the key comes from.
    pub source: Source,
    /// The rule, where the versions differ.
    pub rule: Option<MicRule>,
    /// The MIC that the frame would have under this key.
    pub expected: Mic,
    /// The MIC that it has; in a Join-Accept, as this key decrypts it.
    pub received: Mic,
    /// Whether the last two octets agree: the half of a 1.1 uplink that FNwkSIntKey signs.
    pub forwarding_half: bool,
    /// Whether counters far from the session's last were not tried: the searches were in vain before.
    pub near_only: bool,
}

/// Why a MIC could not be checked.
#[derive(Clone, Debug, Eq, PartialEq)]
pub enum Unchecked {
    /// The frame is cut, and its MIC with it.
    Cut,
    /// The standard gives a proprietary frame no MIC.
    NoMic,
    /// A reserved type of Rejoin-Request: no key is assigned to it.
    NoRule,
    /// The length is none that a Join-Accept can have; nothing decrypts it.
    NotWholeBlocks,
    /// No key at hand signs such a frame.
    NoKey {
        /// The keys that would tell, as a phrase.
        wanted: &'static str,
    },
    /// The key is at hand, and something else that the MIC covers is not.
    NoValue {
        /// The key that is at hand.
        key: &'static str,
        /// Where it comes from.
        source: Source,
        /// The names of what is missing.
        missing: Vec<&'static str>,
        /// Whether the half of a 1.1 uplink that needs nothing else holds already.
        forwarding_half: bool,
    },
}

impl fmt::Display for Unchecked {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Cut => f.write_str("the frame is cut short"),
            Self::NoMic => f.write_str("the standard gives a proprietary frame no MIC"),
            Self::NoRule => f.write_str("no key signs a reserved type"),
            Self::NotWholeBlocks => {
                f.write_str("the encrypted part is not 16 or 32 bytes; nothing decrypts it")
            }
            Self::NoKey { wanted } => write!(f, "needs {wanted}"),
            Self::NoValue { key, missing, forwarding_half, .. } => {
                if *forwarding_half {
                    f.write_str("bytes 3 and 4 of it hold under FNwkSIntKey; the others need ")?;
                } else {
                    write!(f, "next to {key} it needs ")?;
                }
                list(f, missing)
            }
        }
    }
}

fn list(f: &mut fmt::Formatter<'_>, names: &[&str]) -> fmt::Result {
    for (i, name) in names.iter().enumerate() {
        let between = match i {
            0 => "",
            _ if i + 1 == names.len() => " and ",
            _ => ", ",
        };
        write!(f, "{between}{name}")?;
    }
    Ok(())
}
