//! What the fuzz targets ask, asked again of every input that once broke one.

use handfast::frame::decode;

use super::{Outcome, same};

/// Runs the octets through the target of that name.
pub(super) fn replay(target: &str, octets: &[u8]) -> Outcome {
    match target {
        "frame" => match decode(octets).frame {
            Some(frame) => same("octets built again", frame.build(), octets),
            None => Ok(()),
        },
        _ => Err(format!("no fuzz target {target}")),
    }
}
