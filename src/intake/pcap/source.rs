//! The octets of a capture, counted, in the memory of one packet.

use std::io::{self, Read};

/// Reads a stream piece by piece into one buffer.
#[derive(Debug)]
pub(super) struct Source<R> {
    inner: R,
    /// Octets read so far.
    offset: u64,
    buffer: Vec<u8>,
}

impl<R: Read> Source<R> {
    pub(super) const fn new(inner: R) -> Self {
        Self { inner, offset: 0, buffer: Vec::new() }
    }

    pub(super) const fn offset(&self) -> u64 {
        self.offset
    }

    /// Returns the next octets; fewer at the end of the stream alone.
    pub(super) fn take(&mut self, length: usize) -> io::Result<&[u8]> {
        self.buffer.clear();
        if length <= AT_ONCE {
            self.buffer.resize(length, 0);
            let present = fill(&mut self.inner, &mut self.buffer)?;
            self.buffer.truncate(present);
        } else {
            // The length is only said: the buffer grows with what is there.
            (&mut self.inner).take(length as u64).read_to_end(&mut self.buffer)?;
        }
        self.offset += self.buffer.len() as u64;
        Ok(&self.buffer)
    }

    /// Returns the next octets as an array, or how many there were.
    pub(super) fn array<const N: usize>(&mut self) -> io::Result<Result<[u8; N], usize>> {
        let mut octets = [0; N];
        let present = fill(&mut self.inner, &mut octets)?;
        self.offset += present as u64;
        Ok(if present == N { Ok(octets) } else { Err(present) })
    }

    /// Passes octets over; returns how many there were.
    pub(super) fn skip(&mut self, length: u64) -> io::Result<u64> {
        let passed = io::copy(&mut (&mut self.inner).take(length), &mut io::sink())?;
        self.offset += passed;
        Ok(passed)
    }

    /// Returns what [`Source::take`] returned last.
    pub(super) fn taken(&self) -> &[u8] {
        &self.buffer
    }
}

/// Reads until the buffer is full or the stream ends; returns how many octets there were.
pub(in crate::intake) fn fill(stream: &mut impl Read, buffer: &mut [u8]) -> io::Result<usize> {
    let mut present = 0;
    while let Some(rest) = buffer.get_mut(present..)
        && !rest.is_empty()
    {
        match stream.read(rest) {
            Ok(0) => break,
            Ok(more) => present += more,
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            Err(error) => return Err(error),
        }
    }
    Ok(present)
}

/// Octets that are made room for before they are read.
const AT_ONCE: usize = 1 << 16;
