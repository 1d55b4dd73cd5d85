//! Why a line was skipped.

use super::{pcap::PacketError, text::TextError, unpack::UnpackError};

/// Why a line, or the JSON of a datagram, could not be taken. Columns are in octets, from 1.
#[derive(Clone, Debug, Eq, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum IntakeError {
    /// A line longer than any capture has.
    #[error("longer than {cap} octets: no line of a capture is")]
    TooLong {
        /// Octets that a line may have.
        cap: usize,
    },
    /// Octets that are not UTF-8.
    #[error("column {column}: not UTF-8 text")]
    NotUtf8 {
        /// Where.
        column: usize,
    },
    /// Text of two octets a character.
    #[error("UTF-16 text: UTF-8 expected")]
    Utf16,
    /// The line ends within its JSON.
    #[error("column {column}: the line ends before its JSON does")]
    Cut {
        /// Where.
        column: usize,
    },
    /// No JSON.
    #[error("column {column}: {message}")]
    Json {
        /// Where.
        column: usize,
        /// What the reader of JSON says; names no text of the line.
        message: String,
    },
    /// JSON, but no object.
    #[error("one JSON object a line expected")]
    NotAnObject,
    /// An object that is no datagram.
    #[error("no datagram: neither `kind` nor rxpk, txpk, txpk_ack or stat")]
    NoDatagram,
    /// Neither JSON nor a frame.
    #[error("neither JSON nor a frame: {0}")]
    Text(TextError),
    /// A packet that is not whole, or that cannot be read.
    #[error(transparent)]
    Packet(PacketError),
    /// A packed capture that cannot be unpacked to its end.
    #[error(transparent)]
    Unpack(UnpackError),
}

impl IntakeError {
    pub(super) fn json(error: &serde_json::Error) -> Self {
        let column = error.column().max(1);
        if error.is_eof() {
            return Self::Cut { column };
        }
        let message = error.to_string();
        let message = message.split(" at line ").next().unwrap_or_default().to_owned();
        Self::Json { column, message }
    }

    /// Returns what a right line looks like, for a line of its own.
    pub const fn hint(&self) -> &'static str {
        match self {
            Self::Text(error) => error.hint(),
            Self::Packet(error) => error.flaw.hint(),
            Self::Utf16 => "save it anew as UTF-8; on Windows redirections often write UTF-16",
            Self::Unpack(UnpackError::Window { .. }) => {
                "unpack it with zstd -d --memory, and give what comes out"
            }
            Self::Unpack(_) => "all that could be unpacked before is used",
            _ => {
                "a line is one JSON object such as \
                 {\"kind\":\"PUSH_DATA\",\"datagram\":{\"rxpk\":[{\"freq\":868.1,\"data\":\"...\"}]}}, \
                 or a frame in hex or base64"
            }
        }
    }
}
