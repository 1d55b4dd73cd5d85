//! Intake: captures become events, and texts become bytes.
//!
//! | door | takes | gives |
//! |------|-------|-------|
//! | [`Capture`] | any capture: its first bytes say which kind it is | [`Item`]: an [`Event`], or what was passed over |
//! | [`wire_events`] | one datagram as on the wire | [`Event`] |
//! | [`datagram_events`] | the JSON of one datagram | [`Event`] |
//! | [`frame_text`] | one frame in hex or base64 | [`FrameText`] |
//!
//! A capture may be lines of text or recorded packets (pcap, pcapng), and packed with gzip or zstd. Whatever
//! format it has, it becomes [`Event`]s, in which each frame is decoded, once.
//!
//! Whatever is damaged is named and passed over, and everything intact is kept: a damaged member becomes a
//! [`Note`] of its event, a damaged line or a lost frame is a [`Gap`]. A line is read within a fixed amount of
//! memory, however long it is. What keys tell of a frame is for the rooms behind.

mod capture;
pub(crate) mod console;
mod dns;
mod envelope;
mod error;
mod event;
mod forwarder;
mod header;
mod holdings;
mod item;
mod json;
mod lines;
mod log;
mod loratap;
mod member;
mod note;
mod octets;
mod packet;
mod pcap;
mod plain;
mod rows;
mod shape;
mod stamp;
mod station;
mod text;
mod text_capture;
mod texts;
mod time;
mod unpack;
mod wide;
mod words;

pub use capture::{Capture, CaptureOptions};
pub use error::{Flaw, IntakeError, LoraTapError, PacketError, WireError};
pub use event::{
    Closed, CodeRate, Count, Crc, Damage, Discovery, Ends, Event, Gap, GatewayPlan, Heard,
    HowFound, Leg, Lost, Network, Ordered, Outcome, Position, Refusal, Said, Sender, Setup,
    Speaker, Stat, Statement, StationVersion, Subject, TxError, Unit, Unreachable, What, When,
    Wire, Witness,
};
pub use forwarder::{datagram_events, wire_events};
pub use header::{DatagramKind, Header};
pub use holdings::{HoldingKind, Holdings};
pub use item::{Item, PassedOver};
#[cfg(feature = "cli")]
pub(crate) use lines::{LINE_CAP, Lines, Raw};
pub use loratap::LoraTap;
pub use note::{Note, Remark, Within};
#[cfg(feature = "cli")]
pub(crate) use text::without_colours;
pub use text::{Encoding, FrameText, Leniency, TextError, frame_text};
pub use unpack::{Packing, UnpackError};
pub(crate) use wide::text as file_text;
