//! Channel plans of RP002.

use crate::{frame::Direction, radio::Modulation};

/// A channel plan.
#[derive(Debug)]
pub struct Plan {
    /// The common name: `EU868`.
    pub name: &'static str,
}

static EU868: Plan = Plan { name: "EU868" };

impl Plan {
    /// Returns the plan of that common name.
    pub fn by_name(name: &str) -> Option<&'static Self> {
        (name == "EU868").then_some(&EU868)
    }

    /// Returns the modulation of a data rate in a direction.
    pub fn dr(&self, _direction: Direction, dr: u8) -> Option<Modulation> {
        (dr <= 5).then(|| Modulation::Lora { sf: 12 - dr, bw_khz: 125 })
    }

    /// Returns the longest MACPayload M and FRMPayload N of a data rate.
    pub fn max_payload(
        &self,
        _direction: Direction,
        dr: u8,
        _dwell: bool,
        _repeater: bool,
    ) -> Option<(u8, u8)> {
        match dr {
            0..=2 => Some((59, 51)),
            3 => Some((123, 115)),
            4 | 5 => Some((250, 242)),
            _ => None,
        }
    }
}
