//! What of a recording was passed over without being damage.

use crate::words::Count;

/// How many packets were passed over, and why.
#[derive(Clone, Copy, Debug, Default, Eq, PartialEq)]
pub struct PassedOver {
    /// Packets in all.
    pub packets: usize,
    /// Those of other protocols, or of link layers that are not read.
    pub others: usize,
    /// Fragments of IP packets: datagrams in pieces are not put together.
    pub fragments: usize,
    /// Datagrams recorded a second time, as on an interface `any`.
    pub twice: usize,
}

impl PassedOver {
    /// Returns whether anything was passed over.
    pub(super) const fn is_worth_a_word(&self) -> bool {
        self.others > 0 || self.fragments > 0 || self.twice > 0
    }

    /// Returns a sentence for each reason that there was.
    pub fn words(&self) -> Vec<String> {
        let of = Count(self.packets, "packet");
        let mut words = Vec::new();
        if self.others > 0 {
            words.push(format!("{} of {of} passed over: other protocols", self.others));
        }
        if self.fragments > 0 {
            words.push(format!(
                "{} of {of} passed over: IP fragments, which are not put together",
                self.fragments
            ));
        }
        if self.twice > 0 {
            words.push(format!(
                "{} of {of} passed over: datagrams recorded a second time",
                self.twice
            ));
        }
        words
    }
}
