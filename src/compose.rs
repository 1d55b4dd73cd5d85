//! Frames built from their fields, encrypted and signed: the way back from [`read`](crate::reading).
//!
//! A [`Recipe`] says what a frame is to say; its keys are a [`Bunch`]. Whatever a recipe gives in
//! clear is encrypted, and the MIC is computed, unless the recipe gives octets as they travel or a
//! MIC of its own: wrong frames are built as willingly as right ones. Nothing is sent.
//!
//! | file | what it owns |
//! |------|--------------|
//! | `data` | data frames, up and down |
//! | `join` | Join-Request, Join-Accept, Rejoin-Request |
//! | `json` | a recipe out of the JSON that `read --json` prints |
//!
//! ```
//! use handfast::{
//!     compose::{DataRecipe, DataOctets, Recipe},
//!     frame::FType,
//!     reading::Bunch,
//! };
//!
//! let keys = Bunch {
//!     nwk_s_key: "4BFD96BCE7BDA8054D563C80486C0390".parse().ok(),
//!     app_s_key: "4C4ADDCE1783C8B89B98C1B43AD17E09".parse().ok(),
//!     ..Bunch::default()
//! };
//! let mut data = DataRecipe::new(FType::UnconfirmedDataUp, "0201BBDA".parse().unwrap(), 65538);
//! data.fctrl = handfast::frame::FCtrl::new(0x80);
//! data.payload = Some((2, DataOctets::Plain(vec![0x01, 0x67, 0x00, 0xE1])));
//! let octets = Recipe::Data(data).compose(&keys)?;
//! assert_eq!(hex::encode(octets), "40dabb0102800200022721029daeaf9ee9");
//! # Ok::<(), handfast::compose::ComposeError>(())
//! ```

mod data;
mod join;
mod json;

pub use data::{DataOctets, DataRecipe};
pub use join::{AcceptRecipe, JoinRequestRecipe};
pub use json::{Draft, JsonError, JsonFault, Remark, from_json};

use crate::{
    frame::{Frame, Mic, Proprietary, RejoinRequest, SealedJoinAccept},
    reading::{Bunch, Context, CounterHint},
};

/// What a frame is to say.
#[derive(Clone, Debug)]
pub enum Recipe {
    /// A Join-Request.
    JoinRequest(JoinRequestRecipe),
    /// A Join-Accept by its fields: signed, then sealed.
    JoinAccept(AcceptRecipe),
    /// A Join-Accept as it travels.
    SealedJoinAccept(SealedJoinAccept),
    /// A Rejoin-Request and where its MIC comes from; the MIC in it counts for nothing.
    RejoinRequest(RejoinRequest, Signature),
    /// Data, up or down.
    Data(DataRecipe),
    /// A proprietary frame, as it travels.
    Proprietary(Proprietary),
}

/// Where a MIC comes from.
#[derive(Clone, Debug, Default, Eq, PartialEq)]
pub enum Signature {
    /// It is computed; without the key there is no frame.
    #[default]
    Computed,
    /// It is this one, right or wrong.
    Given(Mic),
    /// It is this one unless the octets before it are others than they were.
    Kept {
        /// The MIC.
        mic: Mic,
        /// The octets that it was sent with, if they are known: all that stand before it, those of a
        /// Join-Accept in clear.
        with: Option<Vec<u8>>,
        /// Whether it is computed all the same where the keys are at hand.
        renew: bool,
    },
}

/// Why no frame can be built.
#[derive(Clone, Debug, Eq, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum ComposeError {
    /// A key or a value that a step needs is not at hand.
    #[error("{step} needs {}", .wanted.join(", "))]
    Missing {
        /// What cannot be done.
        step: Step,
        /// What would be needed.
        wanted: Vec<&'static str>,
    },
    /// More octets than FOptsLen can count.
    #[error("FOpts of {octets} bytes: 15 at the most; more commands go on FPort 0")]
    FOptsTooLong {
        /// How many there are.
        octets: usize,
    },
}

/// A step in the making of a frame.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub enum Step {
    /// The MIC.
    Sign,
    /// FRMPayload.
    EncryptPayload,
    /// FOpts of 1.1.
    EncryptFOpts,
    /// A Join-Accept.
    Seal,
}

impl std::fmt::Display for Step {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Sign => "the MIC",
            Self::EncryptPayload => "the encryption of FRMPayload",
            Self::EncryptFOpts => "FOpts, which LoRaWAN 1.1 encrypts,",
            Self::Seal => "the encryption of the Join-Accept",
        })
    }
}

impl ComposeError {
    const fn missing(step: Step, wanted: Vec<&'static str>) -> Self {
        Self::Missing { step, wanted }
    }
}

impl Signature {
    /// Returns the MIC of a frame with these octets before it.
    fn mic(
        &self,
        signed: &[u8],
        compute: impl FnOnce() -> Result<Mic, ComposeError>,
    ) -> Result<Mic, ComposeError> {
        match self {
            Self::Given(mic) => Ok(*mic),
            Self::Kept { mic, with, renew } if with.as_ref().is_none_or(|w| w == signed) => {
                Ok(if *renew { compute().unwrap_or(*mic) } else { *mic })
            }
            Self::Computed | Self::Kept { .. } => compute(),
        }
    }
}

impl Recipe {
    /// Returns what the frame is to be read with, so that the reading finds what went into it.
    pub fn context(&self) -> Context {
        match self {
            Self::JoinAccept(recipe) => Context {
                join_eui: recipe.bound.join_eui,
                dev_eui: recipe.bound.dev_eui,
                dev_nonce: recipe.bound.dev_nonce,
                ..Context::default()
            },
            Self::Data(recipe) => {
                // A MIC that was given may have been signed with anything.
                let computed = recipe.signature == Signature::Computed;
                Context {
                    fcnt: Some(CounterHint(recipe.fcnt)),
                    conf_fcnt: Some(recipe.context.conf_fcnt),
                    tx_dr: computed.then_some(recipe.context.tx_dr),
                    tx_ch: computed.then_some(recipe.context.tx_ch),
                    ..Context::default()
                }
            }
            _ => Context::default(),
        }
    }

    /// Returns the PHYPayload.
    ///
    /// # Errors
    /// [`ComposeError`] when a key or a value is not at hand, or FOpts are too long.
    pub fn compose(&self, keys: &Bunch) -> Result<Vec<u8>, ComposeError> {
        Ok(match self {
            Self::JoinRequest(recipe) => Frame::JoinRequest(recipe.frame(keys)?),
            Self::JoinAccept(recipe) => Frame::JoinAccept(recipe.frame(keys)?),
            Self::SealedJoinAccept(sealed) => Frame::JoinAccept(sealed.clone()),
            Self::RejoinRequest(request, signature) => {
                Frame::RejoinRequest(join::rejoin(request, signature, keys)?)
            }
            Self::Data(recipe) => Frame::Data(recipe.frame(keys)?),
            Self::Proprietary(proprietary) => Frame::Proprietary(proprietary.clone()),
        }
        .build())
    }
}
