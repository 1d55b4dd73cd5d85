//! stub until merge
#![allow(missing_docs, reason = "stub")]
pub const CAPTURE: &str = include_str!("../vectors/intake/orchard.ndjson");
pub const ROSTER: &str = include_str!("../vectors/intake/orchard.toml");
