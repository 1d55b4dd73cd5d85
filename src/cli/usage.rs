//! What a user can get wrong, and what a right one looks like.

use std::{io, path::PathBuf};

use crate::key::KeyError;

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
    #[error("{path}: {error}", path = path.display())]
    File {
        /// Its path.
        path: PathBuf,
        /// What the system says.
        error: io::Error,
    },
    /// Nothing to read.
    #[error("no frame given")]
    NoFrame,
    /// A frame argument that is none.
    #[error("{option}: {error}")]
    Frame {
        /// The option.
        option: &'static str,
        /// What is wrong.
        error: super::frames::FrameTextError,
    },
}

impl UsageError {
    /// Returns what a right one looks like.
    pub fn hint(&self) -> Option<String> {
        let hint = match self {
            Self::Key { .. } => "a key is 32 hex digits, such as 2B7E151628AED2A6ABF7158809CF4F3C",
            Self::NoVariable { .. } => "export the variable first; its value is 32 hex digits",
            Self::File { .. } => return None,
            Self::NoFrame => {
                "handfast read 0001000BFEFF0000023C2B1AFEFF00000202012E269CF5, or - for lines on \
                 standard input"
            }
            Self::Frame { .. } => super::frames::FRAME_HINT,
        };
        Some(hint.into())
    }
}
