//! What a user can get wrong, and what a right one looks like.

use std::{io, path::PathBuf};

use jiff::Timestamp;

use crate::{
    crypto::wrap::UnwrapError,
    frame::DecodeError,
    intake::TextError,
    key::KeyError,
    roster::RosterError,
    words::{Count, Reason, Visible},
};

/// A wrong usage: what was wrong, and where. Never part of a key.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum UsageError {
    /// A key that is none.
    #[error("{place}: {error}")]
    Key {
        /// The option, variable or file.
        place: String,
        /// What is wrong.
        error: KeyError,
    },
    /// An environment variable that is not set, or not text.
    #[error("--{option}-env {name}: no such environment variable")]
    NoVariable {
        /// The option's stem.
        option: &'static str,
        /// The variable.
        name: String,
    },
    /// A file that cannot be read.
    #[error("{path}: {}", Reason(.error.kind()), path = Visible::path(.path))]
    File {
        /// Its path.
        path: PathBuf,
        /// What the system says.
        error: io::Error,
    },
    /// A roster that is none, with all its faults.
    #[error(transparent)]
    Roster(#[from] RosterError),
    /// A roster where captures or frames are expected.
    #[error("{path} looks like a roster, and is not read for frames", path = path.display())]
    RosterAsCapture {
        /// Its path.
        path: PathBuf,
        /// Whether `--roster` is given as well.
        other: bool,
    },
    /// Standard input for two things.
    #[error("standard input can be read for one thing only")]
    StdinTwice,
    /// A frame that cannot be composed.
    #[error(transparent)]
    Compose(#[from] super::compose::CannotCompose),
    /// A node that nobody knows.
    #[error(
        "--node: {name:?} is neither a DevEUI nor a DevAddr, and no node of the roster has that name"
    )]
    NoNode {
        /// What was given.
        name: String,
        /// The name that it may be.
        near: Option<String>,
    },
    /// A gateway that nobody knows.
    #[error("--gateway: {name:?} is not an EUI, and no gateway of the roster has that name")]
    NoGateway {
        /// What was given.
        name: String,
        /// The name that it may be.
        near: Option<String>,
    },
    /// A console of a node that is not on the roster.
    #[error("--console: no node of the roster is named {name:?}")]
    NoConsoleNode {
        /// What was given.
        name: String,
        /// The name that it may be.
        near: Option<String>,
    },
    /// A span of time in which nothing can be.
    #[error("--from {from} is not before --to {to}: no frame can be between them")]
    NoSpan {
        /// Where it begins.
        from: Timestamp,
        /// Where it ends.
        to: Timestamp,
    },
    /// Nothing to read.
    #[error("no frame given")]
    NoFrame,
    /// Inputs without a frame.
    #[error("no frame in {input}")]
    NoFrameIn {
        /// What was read.
        input: String,
    },
    /// A frame argument that is none.
    #[error("{option}: {error}")]
    Frame {
        /// The option.
        option: &'static str,
        /// What is wrong.
        error: TextError,
    },
    /// A frame argument that is cut short.
    #[error("{option}: {error}")]
    Cut {
        /// The option.
        option: &'static str,
        /// What is missing.
        error: DecodeError,
    },
    /// A frame of another type than the option takes.
    #[error("{option}: this is not {wanted}")]
    OtherMessage {
        /// The option.
        option: &'static str,
        /// What it takes.
        wanted: &'static str,
    },
    /// Not 16 bytes.
    #[error("{option}: {}, 16 expected", Count(*.found, "byte"))]
    NotABlock {
        /// The option.
        option: &'static str,
        /// Bytes given.
        found: usize,
    },
    /// An envelope that does not open.
    #[error("--wrapped: {0}")]
    Wrapped(UnwrapError),
    /// Values that a derivation needs.
    #[error("missing: {}", names(.0))]
    Missing(Vec<Missing>),
    /// No values at all.
    #[error("nothing to derive a key from")]
    NothingToDerive,
}

/// A value that a derivation needs and was not given.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Missing {
    /// JoinNonce.
    JoinNonce,
    /// DevNonce or RJcount.
    DevNonce,
    /// NetID.
    NetId,
    /// JoinEUI.
    JoinEui,
    /// A root key.
    RootKey,
    /// The request.
    Request,
    /// The Join-Accept.
    Accept,
    /// A key of a multicast group.
    GroupKey,
    /// McKey.
    McKey,
}

impl Missing {
    /// Returns the option that gives it, and where its value is.
    const fn option_and_place(self) -> (&'static str, &'static str) {
        match self {
            Self::JoinNonce => ("--join-nonce", "bytes 1-3 of the Join-Accept, decrypted"),
            Self::DevNonce => ("--dev-nonce", "bytes 17-18 of the Join-Request"),
            Self::NetId => ("--net-id", "bytes 4-6 of the Join-Accept, decrypted"),
            Self::JoinEui => ("--join-eui", "bytes 1-8 of the Join-Request"),
            Self::RootKey => ("--app-key or --nwk-key", "the node's record: 1.0.x or 1.1"),
            Self::Request => ("--request or --rejoin", "the uplink just before the Join-Accept"),
            Self::Accept => ("--accept", "the downlink that answers the request"),
            Self::GroupKey => {
                ("--gen-app-key, --app-key or --mc-key", "the node's record: 1.0.x or 1.1")
            }
            Self::McKey => ("--mc-key or --mc-key-encrypted", "McGroupSetupReq on port 200"),
        }
    }
}

fn names(missing: &[Missing]) -> String {
    let names: Vec<_> = missing.iter().map(|m| m.option_and_place().0).collect();
    names.join(", ")
}

impl UsageError {
    /// Returns what a right one looks like.
    pub fn hint(&self) -> Option<String> {
        let hint = match self {
            Self::Key { .. } => "a key is 32 hex digits, such as 8A4C19E2D75B03F6619EC8270DB3F45A",
            Self::NoVariable { .. } => "export the variable first; its value is 32 hex digits",
            Self::File { .. }
            | Self::Roster(_)
            | Self::StdinTwice
            | Self::NoFrameIn { .. }
            | Self::NoSpan { .. } => return None,
            Self::RosterAsCapture { path, other: false } => {
                return Some(format!("--roster {}", path.display()));
            }
            Self::RosterAsCapture { other: true, .. } => {
                "--roster takes one roster; give captures without an option"
            }
            Self::NoGateway { near: None, .. } => {
                "a gateway's EUI is 16 hex digits, such as 02-00-00-FF-FE-A0-94-42"
            }
            Self::NoGateway { near: Some(near), .. } => {
                return Some(format!("did you mean {near}?"));
            }
            Self::NoNode { near, .. } | Self::NoConsoleNode { near, .. } => {
                return near.as_ref().map(|near| format!("did you mean {near}?"));
            }
            Self::Compose(error) => return error.hint(),
            Self::NoFrame => {
                "handfast read 0001000BFEFF0000023C2B1AFEFF00000202012E269CF5, or - for lines on \
                 standard input"
            }
            Self::Frame { error, .. } => error.hint(),
            Self::Cut { .. } => "`handfast read FRAME` shows how far it goes",
            Self::OtherMessage { .. } => "`handfast read FRAME` shows what it is",
            Self::NotABlock { .. } => "32 hex digits, in the order sent",
            Self::Wrapped(_) => "a wrapped AES-128 key is 48 hex digits",
            Self::Missing(missing) => {
                let places: Vec<_> = missing
                    .iter()
                    .map(|m| m.option_and_place())
                    .map(|(option, place)| format!("{option}: {place}"))
                    .collect();
                return Some(places.join("; "));
            }
            Self::NothingToDerive => {
                "give --request and --accept, or --join-nonce and its fellows, or multicast values"
            }
        };
        Some(hint.into())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{explore::near_miss::sample, key::Aes128Key};

    #[test]
    fn the_model_key_is_not_a_published_one() {
        let error = "".parse::<Aes128Key>().unwrap_err();
        let hint = UsageError::Key { place: "--app-key".into(), error }.hint().unwrap();
        let model = hint.rsplit(' ').next().unwrap().parse::<Aes128Key>().unwrap();
        assert_eq!(sample(&model), None);
    }
}
