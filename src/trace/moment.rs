//! A place in the captures, and when that was.

use jiff::Timestamp;

use super::Line;

/// Where something is, and when it was captured.
#[derive(Clone, Copy, Debug, Default, Eq, PartialEq)]
pub struct Moment {
    /// Where.
    pub line: Line,
    /// When, by the capture's clock.
    pub at: Option<Timestamp>,
}

impl Moment {
    /// Returns microseconds since 1970.
    pub fn us(self) -> Option<i64> {
        self.at.map(Timestamp::as_microsecond)
    }

    /// Returns the microseconds that passed since an earlier moment, where both have a time.
    pub fn since(self, earlier: Self) -> Option<i64> {
        Some(self.us()? - earlier.us()?)
    }
}
