//! Frames as LoRaTap.

use std::io::{self, Write};

use jiff::Timestamp;

use super::pcap::Pcap;
use crate::intake::LoraTap;

/// Writes frames to a pcap of LoRaTap (link type 270), version 1.
///
/// What the header cannot hold is left out rather than written wrong: see [`LoraTap`].
#[derive(Debug)]
pub struct FramePcap<W>(Pcap<W>);

impl<W: Write> FramePcap<W> {
    /// Returns a writer once the file's header is written.
    ///
    /// # Errors
    ///
    /// Those of the stream.
    pub fn new(writer: W) -> io::Result<Self> {
        Pcap::new(writer, u32::from(LoraTap::LINK_TYPE)).map(Self)
    }

    /// Writes one frame: what is known of it, and its PHYPayload.
    ///
    /// A file of packets gives each a time; without one it is that of 1970, 00:00.
    ///
    /// # Errors
    ///
    /// Those of the stream; [`io::ErrorKind::InvalidInput`], and nothing is written, for a time that is not from
    /// 1970 to 2106.
    pub fn write(
        &mut self,
        at: Option<Timestamp>,
        header: &LoraTap,
        phy_payload: &[u8],
    ) -> io::Result<()> {
        self.0.write(at.unwrap_or(Timestamp::UNIX_EPOCH), |record| {
            record.extend_from_slice(&header.octets());
            record.extend_from_slice(phy_payload);
            Ok(())
        })
    }

    /// Returns the stream, to flush it.
    pub const fn get_mut(&mut self) -> &mut W {
        self.0.get_mut()
    }

    /// Returns the stream.
    pub fn into_inner(self) -> W {
        self.0.into_inner()
    }
}
