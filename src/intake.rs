//! Intake: what comes in as text becomes octets and datagrams.
//!
//! | door | takes | gives |
//! |------|-------|-------|
//! | [`frame_text`] | one frame in hex or base64 | [`FrameText`] |
//! | [`CaptureLines`] | a capture of the gateway's UDP protocol, a JSON object a line | [`Item`] |
//! | [`TextLines`] | either of them, line by line | [`TextItem`], frame by frame |
//! | [`Capture`] | any capture: which kind it is shows in its first octets | [`Item`] |
//! | [`wire_datagram`] | one datagram as on the wire | [`Datagram`] |
//! | [`datagram_json`] | the JSON of one datagram | [`Datagram`] |
//!
//! A capture may be lines of text or recorded packets (pcap, pcapng), and packed with gzip or zstd.
//!
//! Whatever is damaged is named and passed over, and all that is whole is kept: a damaged member
//! becomes a [`Note`] of its datagram, a damaged line is [`Item::Skipped`]. A line is read within
//! a fixed amount of memory, however long it is. What the octets mean is for [`crate::frame`].

mod capture;
mod datagram;
mod error;
pub mod event;
mod forwarder;
mod frames;
mod json;
mod lines;
mod log;
mod loratap;
mod member;
mod note;
mod open;
mod packet;
mod pcap;
mod station;
mod text;
mod texts;
mod time;
mod unpack;
mod wire;

pub use capture::{CaptureLines, Item};
pub use datagram::{
    CodeRate, Crc, Datagram, Downlink, Found, GatewayPlan, Kind, Stat, TxAck, TxError, Unit,
    Uplink, When, bare_frame,
};
pub use error::IntakeError;
pub use forwarder::datagram_json;
pub use frames::{Origin, SourcedFrame, TextItem, TextLines};
#[cfg(feature = "cli")]
pub(crate) use lines::{LINE_CAP, Lines, Raw};
pub use loratap::{LoraTap, LoraTapError};
pub use note::{Note, Place, Remark};
pub use open::{Capture, OpenOptions};
pub use pcap::{Flaw, PacketError, PassedOver};
#[cfg(feature = "cli")]
pub(crate) use text::without_colours;
pub use text::{Encoding, FrameText, Leniency, TextError, frame_text};
pub use unpack::{Packing, UnpackError};
pub use wire::{Header, WireError, wire_datagram};
