//! How a capture is packed, and why unpacking stops.

use std::io;

/// How a capture is packed.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Packing {
    /// gzip (RFC 1952).
    Gzip,
    /// Zstandard (RFC 8878).
    Zstd,
}

impl std::fmt::Display for Packing {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Gzip => "gzip",
            Self::Zstd => "zstd",
        })
    }
}

/// Why a packed capture could not be unpacked to its end.
#[derive(Clone, Copy, Debug, Eq, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum UnpackError {
    /// It ends early.
    #[error("{packing}: it ends early, after {offset} bytes")]
    Cut {
        /// How it is packed.
        packing: Packing,
        /// Octets of the packed stream.
        offset: u64,
    },
    /// It is damaged.
    #[error("{packing}: damaged at about byte {offset} of the packed stream")]
    Damaged {
        /// How it is packed.
        packing: Packing,
        /// Octets of the packed stream before it.
        offset: u64,
    },
    /// What was unpacked is not what was packed.
    #[error("{packing}: the checksum does not hold before byte {offset} of the packed stream")]
    Checksum {
        /// How it is packed.
        packing: Packing,
        /// Octets of the packed stream.
        offset: u64,
    },
    /// Unpacking takes more memory than is given to it.
    #[error("zstd: a window of {window} bytes; up to {most} are given to it")]
    Window {
        /// The window.
        window: u64,
        /// What is given.
        most: u64,
    },
    /// Packed again and again.
    #[error("packed more than {0} times over")]
    Nested(usize),
}

/// Something that unpacks.
pub(super) trait Unpack {
    /// Unpacks some octets, none at the end.
    fn unpack(&mut self, buffer: &mut [u8]) -> Result<usize, Stop>;
}

/// Why unpacking stops.
pub(super) enum Stop {
    /// The packed stream itself cannot be read.
    Stream(io::Error),
    Damage(UnpackError),
}

/// What zstd uses on its higher levels, and the most that is given to it.
pub(super) const MOST_WINDOW: u64 = 32 << 20;
