//! Lines of a stream, none of them longer in memory than a cap.

use std::io::{self, BufRead, Read};

/// Octets that a line may have.
pub(crate) const LINE_CAP: usize = 1 << 20;

/// A line as it came.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(crate) enum Raw {
    /// It is in [`Lines::text`].
    Whole,
    /// It is longer than the cap, and was passed over.
    TooLong,
}

/// Reads lines into one buffer that is used again and again.
#[derive(Debug)]
pub(crate) struct Lines<R> {
    inner: R,
    buffer: Vec<u8>,
    number: u64,
}

impl<R: BufRead> Lines<R> {
    pub(crate) const fn new(inner: R) -> Self {
        Self { inner, buffer: Vec::new(), number: 0 }
    }

    /// Reads the next line; `None` at the end of the stream.
    pub(crate) fn advance(&mut self) -> io::Result<Option<Raw>> {
        self.buffer.clear();
        // two more than the cap: the line end may be CR LF
        let limit = u64::try_from(LINE_CAP).unwrap_or(u64::MAX).saturating_add(2);
        if Read::take(&mut self.inner, limit).read_until(b'\n', &mut self.buffer)? == 0 {
            return Ok(None);
        }
        self.number += 1;
        let ended = self.buffer.last() == Some(&b'\n');
        if ended {
            self.buffer.pop();
        }
        if self.buffer.last() == Some(&b'\r') {
            self.buffer.pop();
        }
        if self.number == 1 && self.buffer.starts_with(BOM) {
            self.buffer.drain(..BOM.len());
        }
        if self.buffer.len() <= LINE_CAP {
            return Ok(Some(Raw::Whole));
        }
        self.buffer.clear();
        if !ended {
            self.inner.skip_until(b'\n')?;
        }
        Ok(Some(Raw::TooLong))
    }

    /// Returns the line without its end.
    pub(crate) fn text(&self) -> &[u8] {
        &self.buffer
    }

    /// Returns the line's number, from 1.
    pub(crate) const fn number(&self) -> u64 {
        self.number
    }
}

const BOM: &[u8] = b"\xEF\xBB\xBF";

#[cfg(test)]
mod tests {
    use super::*;

    fn all(octets: &[u8]) -> Vec<(u64, Raw, usize)> {
        let mut lines = Lines::new(octets);
        let mut out = Vec::new();
        while let Some(raw) = lines.advance().unwrap() {
            out.push((lines.number(), raw, lines.text().len()));
        }
        out
    }

    #[test]
    fn a_line_of_just_the_cap_is_whole_and_one_more_is_too_long() {
        for (end, more) in [("\n", 0), ("\r\n", 0), ("", 0), ("\n", 1), ("\r\n", 1), ("", 1)] {
            let text = "a".repeat(LINE_CAP + more) + end;
            let raw = if more == 0 { Raw::Whole } else { Raw::TooLong };
            let kept = if more == 0 { LINE_CAP } else { 0 };
            assert_eq!(all(text.as_bytes()), [(1, raw, kept)], "{end:?} {more}");
            let text = text + "\nlast";
            assert_eq!(
                all(text.as_bytes()).last(),
                Some(&(2 + u64::from(!end.is_empty()), Raw::Whole, 4))
            );
        }
    }

    #[test]
    fn a_huge_line_leaves_a_small_buffer() {
        let text = "a".repeat(5 * LINE_CAP) + "\nlast\n";
        let mut lines = Lines::new(text.as_bytes());
        assert_eq!(lines.advance().unwrap(), Some(Raw::TooLong));
        assert!(lines.buffer.capacity() <= 2 * LINE_CAP + 2);
        assert_eq!(lines.advance().unwrap(), Some(Raw::Whole));
        assert_eq!((lines.text(), lines.number()), (&b"last"[..], 2));
    }

    #[test]
    fn a_byte_order_mark_is_passed_over_at_the_start_alone() {
        assert_eq!(all(b"\xEF\xBB\xBFab\n\xEF\xBB\xBF"), [(1, Raw::Whole, 2), (2, Raw::Whole, 3)]);
    }
}
