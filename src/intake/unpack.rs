//! gzip and zstd around a capture, unpacked as it is read.
//!
//! Nothing is unpacked ahead of the reader, and no more is held than a window: 32 KiB of gzip, up to
//! [`step::MOST_WINDOW`] of zstd, which grows with what was unpacked. A stream that is damaged ends where the damage is;
//! what is wrong is told beside it, so that all before it is used.

mod counted;
mod gzip;
mod step;
mod zstd;

use std::{
    io::{self, BufReader, Read},
    sync::{Arc, Mutex, PoisonError},
};

use counted::Counted;
use step::{Stop, Unpack};

pub use step::{Packing, UnpackError};

/// Returns how a file that begins so is packed.
pub(super) fn packing(head: &[u8]) -> Option<Packing> {
    match head {
        [0x1F, 0x8B, 8, ..] => Some(Packing::Gzip),
        _ if zstd::begins(head) => Some(Packing::Zstd),
        _ => None,
    }
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
pub(super) fn unpack<'s>(
    packing: Packing,
    stream: Box<dyn Read + Send + 's>,
    verdict: &Verdict,
) -> Box<dyn Read + Send + 's> {
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

const BUFFER: usize = 1 << 16;
