//! A stream that knows how far it was read, and what went wrong under it.

use std::io::{self, BufRead, Read};

#[derive(Debug)]
pub(super) struct Counted<R> {
    inner: R,
    offset: u64,
    ended: bool,
    failed: Option<io::Error>,
}

impl<R: BufRead> Counted<R> {
    pub(super) const fn new(inner: R) -> Self {
        Self { inner, offset: 0, ended: false, failed: None }
    }

    pub(super) const fn offset(&self) -> u64 {
        self.offset
    }

    /// Returns whether its end was met.
    pub(super) const fn is_ended(&self) -> bool {
        self.ended
    }

    /// Returns the error of the stream that a reader met and wrapped into one of its own.
    pub(super) const fn take_failure(&mut self) -> Option<io::Error> {
        self.failed.take()
    }
}

impl<R: BufRead> BufRead for Counted<R> {
    fn fill_buf(&mut self) -> io::Result<&[u8]> {
        loop {
            match self.inner.fill_buf() {
                Ok(_) => break,
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                Err(error) => {
                    let copy = io::Error::from(error.kind());
                    self.failed = Some(error);
                    return Err(copy);
                }
            }
        }
        // Filled above: this reads nothing more.
        let octets = self.inner.fill_buf()?;
        self.ended |= octets.is_empty();
        Ok(octets)
    }

    fn consume(&mut self, amount: usize) {
        self.offset += amount as u64;
        self.inner.consume(amount);
    }
}

impl<R: BufRead> Read for Counted<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        if buffer.is_empty() {
            return Ok(0);
        }
        let octets = self.fill_buf()?.read(buffer)?;
        self.consume(octets);
        Ok(octets)
    }
}
