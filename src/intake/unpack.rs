//! gzip and zstd around a capture, unpacked as it is read.
//!
//! Nothing is unpacked ahead of the reader, and no more is held than a window: 32 KiB of gzip, up to
//! [`MOST_WINDOW`] of zstd, which grows with what was unpacked. A stream that is damaged ends where the damage is;
//! what is wrong is told beside it, so that all before it is used.

mod counted;
mod gzip;
mod zstd;

use std::{
    io::{self, BufReader, Read},
    sync::{Arc, Mutex, PoisonError},
};

use counted::Counted;

/// How a capture is packed.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Packing {
    /// gzip (RFC 1952).
    Gzip,
    /// Zstandard (RFC 8878).
    Zstd,
}

impl Packing {
    /// Returns how a file that begins so is packed.
    pub(super) fn of(head: &[u8]) -> Option<Self> {
        match head {
            [0x1F, 0x8B, 8, ..] => Some(Self::Gzip),
            _ if zstd::begins(head) => Some(Self::Zstd),
            _ => None,
        }
    }
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
    #[error("{packing}: it ends early, after {offset} octets")]
    Cut {
        /// How it is packed.
        packing: Packing,
        /// Octets of the packed stream.
        offset: u64,
    },
    /// It is damaged.
    #[error("{packing}: damaged at about octet {offset} of the packed stream")]
    Damaged {
        /// How it is packed.
        packing: Packing,
        /// Octets of the packed stream before it.
        offset: u64,
    },
    /// What was unpacked is not what was packed.
    #[error("{packing}: the checksum does not hold before octet {offset} of the packed stream")]
    Checksum {
        /// How it is packed.
        packing: Packing,
        /// Octets of the packed stream.
        offset: u64,
    },
    /// Unpacking takes more memory than is given to it.
    #[error("zstd: a window of {window} octets; up to {most} are given to it")]
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

/// Why unpacking ended, told beside the octets.
#[derive(Clone, Debug, Default)]
pub(super) struct Verdict(Arc<Mutex<Option<UnpackError>>>);

impl Verdict {
    pub(super) fn set(&self, error: UnpackError) {
        *self.0.lock().unwrap_or_else(PoisonError::into_inner) = Some(error);
    }

    /// Returns what is wrong, once the octets have ended.
    pub(super) fn take(&self) -> Option<UnpackError> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).take()
    }
}

/// Unpacks a stream; its end is where the packed one ends or is damaged, and the verdict tells which.
pub(super) fn unpack(
    packing: Packing,
    stream: Box<dyn Read + Send>,
    verdict: &Verdict,
) -> Box<dyn Read + Send> {
    let counted = Counted::new(BufReader::with_capacity(BUFFER, stream));
    let verdict = verdict.clone();
    match packing {
        Packing::Gzip => {
            Box::new(Unpacked { inner: gzip::Gzip::new(counted), verdict, ended: false })
        }
        Packing::Zstd => {
            Box::new(Unpacked { inner: zstd::Zstd::new(counted), verdict, ended: false })
        }
    }
}

/// Something that unpacks.
trait Unpack {
    /// Unpacks some octets, none at the end.
    fn unpack(&mut self, buffer: &mut [u8]) -> Result<usize, Stop>;
}

/// Why unpacking stops.
enum Stop {
    /// The packed stream itself cannot be read.
    Stream(io::Error),
    Damage(UnpackError),
}

struct Unpacked<U> {
    inner: U,
    verdict: Verdict,
    ended: bool,
}

impl<U: Unpack> Read for Unpacked<U> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        if self.ended || buffer.is_empty() {
            return Ok(0);
        }
        match self.inner.unpack(buffer) {
            Ok(octets) => {
                self.ended = octets == 0;
                Ok(octets)
            }
            Err(Stop::Stream(error)) => {
                self.ended = error.kind() != io::ErrorKind::Interrupted;
                Err(error)
            }
            Err(Stop::Damage(error)) => {
                self.verdict.set(error);
                self.ended = true;
                Ok(0)
            }
        }
    }
}

/// What zstd uses on its higher levels, and the most that is given to it.
const MOST_WINDOW: u64 = 32 << 20;
const BUFFER: usize = 1 << 16;
