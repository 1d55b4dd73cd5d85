//! What a capture consists of: its events, and what was passed over.

use super::event::Event;
use crate::words::Count;

/// What comes next in a capture.
#[derive(Clone, Debug, PartialEq)]
pub enum Item {
    /// Something that the capture says, or a gap where something is damaged.
    Event(Event),
    /// What is neither an event nor damaged: reported once, at the end.
    PassedOver(PassedOver),
}

/// What was passed over, and why.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
#[non_exhaustive]
pub enum PassedOver {
    /// Lines of a log in which no frame was found.
    Lines {
        /// The first of them, from 1.
        first: u64,
        /// How many there were.
        lines: u64,
    },
    /// Packets that are no datagrams of the gateway's protocol.
    Packets {
        /// Packets in all.
        all: usize,
        /// Those of other protocols, or of link layers that are not read.
        others: usize,
        /// Fragments of IP packets: datagrams in pieces are not put together.
        fragments: usize,
        /// Datagrams recorded a second time, as on an interface `any`.
        twice: usize,
    },
}

impl PassedOver {
    /// Returns a sentence for each reason that there was.
    pub fn words(&self) -> Vec<String> {
        let (all, counts) = match *self {
            Self::Lines { first, lines } => {
                let lines = Count(usize::try_from(lines).unwrap_or(usize::MAX), "line");
                let words = "without a frame passed over, the first line";
                return vec![format!("{lines} {words} {first}")];
            }
            Self::Packets { all, others, fragments, twice } => (
                Count(all, "packet"),
                [
                    (others, "other protocols"),
                    (fragments, "IP fragments, which are not put together"),
                    (twice, "datagrams recorded a second time"),
                ],
            ),
        };
        let counts = counts.into_iter().filter(|(count, _)| *count > 0);
        counts.map(|(count, why)| format!("{count} of {all} passed over: {why}")).collect()
    }
}
