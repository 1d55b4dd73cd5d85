//! The recipe: how blocks, keys and MICs are made, spelt out so that a mistake is one small change.
//!
//! [`Recipe::standard`] is the right way. A field is here because somebody gets it wrong.

mod join;
mod session;

pub(crate) use join::{AcceptRecipe, Cipher, EuiIn, RequestRecipe, Sealing};
pub(crate) use session::{
    AppRoot, Conf, Constant, DataRecipe, FOptsRecipe, FieldOrder, Halves, KeyRecipe, Len, Middle,
    PayloadRecipe,
};

/// The two rules of the link layer.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub enum Rule {
    /// LoRaWAN 1.0.x, and 1.1 with OptNeg 0.
    V1_0,
    /// LoRaWAN 1.1 with OptNeg 1.
    V1_1,
}

/// A key of the session. In 1.0.x the first three are one key, NwkSKey.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub enum Slot {
    /// FNwkSIntKey; NwkSKey of 1.0.x.
    Forwarding,
    /// SNwkSIntKey.
    Serving,
    /// NwkSEncKey.
    NetworkEnc,
    /// AppSKey.
    App,
}

/// The order of a field's octets where it is put into a block.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub(crate) enum Order {
    /// Least significant first, as everything travels.
    Wire,
    /// Most significant first, as people write it.
    Printed,
}

/// Which of several values is taken.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub(crate) enum Source {
    /// The one that belongs here.
    This,
    /// Another attempt's, another accept's, another root key: each of those known is tried.
    Other,
    /// None: the field is left out.
    Nowhere,
}

/// How the 16 octets of a MAC come about.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub(crate) enum Mac {
    /// AES-CMAC (RFC 4493).
    Cmac,
    /// The last block is padded, and no subkey is put on it.
    NoSubkey,
    /// K1 is put on a last block that was padded, where K2 belongs.
    OneSubkey,
    /// The last block is padded with zeros, without the leading one bit.
    ZeroPadding,
}

/// How a MIC is cut out of the MAC and laid down.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub(crate) struct MicForm {
    pub(crate) mac: Mac,
    /// The last octets are taken instead of the first.
    pub(crate) from_the_end: bool,
    /// The four octets are laid down back to front.
    pub(crate) reversed: bool,
}

impl MicForm {
    /// The first four octets of a CMAC, in order.
    const STANDARD: Self = Self { mac: Mac::Cmac, from_the_end: false, reversed: false };
}

/// What stands where MHDR belongs in the input of a MIC.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub(crate) enum MhdrIn {
    AsSent,
    LeftOut,
    Zero,
}

/// How everything from the Join-Request's MIC to FOpts is computed.
///
/// [`Recipe::standard`] is LoRaWAN 1.0.4 and 1.1 with the erratum of 26 January 2018; a
/// [`Row`](super::Row) changes what it gets wrong.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub struct Recipe {
    pub(crate) request: RequestRecipe,
    pub(crate) accept: AcceptRecipe,
    pub(crate) keys: KeyRecipe,
    pub(crate) data: DataRecipe,
    pub(crate) payload: PayloadRecipe,
    pub(crate) fopts: FOptsRecipe,
}

impl Recipe {
    /// Returns the right way, for a session under this rule.
    pub const fn standard(rule: Rule) -> Self {
        Self {
            request: RequestRecipe::standard(),
            accept: AcceptRecipe::standard(),
            keys: KeyRecipe::standard(rule),
            data: DataRecipe::standard(rule),
            payload: PayloadRecipe::standard(),
            fopts: FOptsRecipe::standard(),
        }
    }
}
