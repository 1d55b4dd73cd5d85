//! Where the MAC commands of a frame plug in.

use crate::frame::{Direction, MacVersion};

/// The MAC commands of a frame.
#[derive(Clone, Debug, Default)]
pub struct Commands {
    whole: bool,
}

impl Commands {
    /// Returns the list as JSON: an array of `{"cid":2,"name":"LinkCheckAns","fields":{..}}`.
    pub fn to_json(&self) -> serde_json::Value {
        serde_json::Value::Array(Vec::new())
    }

    /// Returns one line a command.
    pub fn lines(&self) -> Vec<String> {
        Vec::new()
    }

    /// Returns whether the octets split into commands to the last one.
    pub const fn is_whole(&self) -> bool {
        self.whole
    }
}

// MERGE POINT: `frame::command::decode` takes this function's place, its `Commands` that type's,
// and `trailing.is_none()` the place of `is_whole`.
/// Splits a list of MAC commands. Until the table is here, by the lengths of their payloads alone.
pub fn mac_commands(octets: &[u8], direction: Direction, _: Option<MacVersion>) -> Commands {
    let mut rest = octets;
    while let Some((&cid, payload)) = rest.split_first() {
        let lengths = LENGTHS.iter().find(|(of, ..)| *of == cid);
        let length = lengths.and_then(|&(_, up, down)| match direction {
            Direction::Uplink => up,
            Direction::Downlink => down,
        });
        let Some(after) = length.and_then(|n| payload.get(n..)) else {
            return Commands { whole: false };
        };
        rest = after;
    }
    Commands { whole: true }
}

/// CID, octets of payload up, octets of payload down.
const LENGTHS: &[(u8, Option<usize>, Option<usize>)] = &[
    (0x01, Some(1), Some(1)),
    (0x02, Some(0), Some(2)),
    (0x03, Some(1), Some(4)),
    (0x04, Some(0), Some(1)),
    (0x05, Some(1), Some(4)),
    (0x06, Some(2), Some(0)),
    (0x07, Some(1), Some(5)),
    (0x08, Some(0), Some(1)),
    (0x09, Some(0), Some(1)),
    (0x0A, Some(1), Some(4)),
    (0x0B, Some(1), Some(1)),
    (0x0C, Some(0), Some(1)),
    (0x0D, Some(0), Some(5)),
    (0x0E, None, Some(2)),
    (0x0F, Some(1), Some(1)),
    (0x10, Some(1), Some(0)),
    (0x11, Some(1), Some(4)),
    (0x12, Some(0), Some(3)),
    (0x13, Some(1), Some(3)),
    (0x20, Some(1), Some(1)),
];
