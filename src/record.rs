//! Records: what was captured, written so that [`crate::intake`] and others read it back.
//!
//! | writer | takes | writes |
//! |--------|-------|--------|
//! | [`CaptureLineWriter`] | datagrams of the gateway's UDP protocol | capture lines, one JSON object a line |
//! | [`DatagramPcap`] | the same, as they pass between two addresses | pcap of IP packets, link type 101 |
//! | [`FramePcap`] | frames with their radio data | pcap of LoRaTap, link type 270, version 1 |
//!
//! Each record reaches the stream in one call, so that a stream that takes it whole or not at all never
//! holds half of one.

mod frames;
#[cfg(any(feature = "cli", feature = "live"))]
mod identity;
mod lines;
mod packets;
mod pcap;

pub use frames::FramePcap;
#[cfg(any(feature = "cli", feature = "live"))]
pub(crate) use identity::Identity;
pub use lines::CaptureLineWriter;
pub use packets::DatagramPcap;
