//! What the tap tells while it runs.

use std::net::SocketAddr;

use jiff::Timestamp;

use super::{Caught, Change, GatewayChange, RecordingWord};
use crate::{
    id::Eui64,
    intake::Event,
    reading::{MicVerdict, Reading},
};

/// Something that happened.
#[derive(Debug)]
pub enum Notice<'a> {
    /// A datagram, before it is read.
    Datagram(&'a Caught),
    /// A gateway that was not heard before, or speaks from another address.
    Gateway {
        /// When.
        at: Timestamp,
        /// The gateway.
        gateway: Eui64,
        /// From where.
        peer: SocketAddr,
    },
    /// A frame.
    Frame(&'a Seen),
    /// What a gateway says of itself, or of a frame that it was to send.
    Said(&'a Event),
    /// A node's ladder stands otherwise than before.
    Ladder(&'a Change),
    /// A gateway's ladder stands otherwise than before.
    GatewayLadder(&'a GatewayChange),
    /// The server fell silent (`false`), or speaks again.
    Server {
        /// When.
        at: Timestamp,
        /// Whether it answers.
        answers: bool,
    },
    /// The port has something to say.
    Port {
        /// When.
        at: Timestamp,
        /// What.
        word: PortWord,
    },
    /// The recording has something to say.
    Recording(&'a RecordingWord),
    /// Nothing happened for a moment: time to draw.
    Idle,
}

/// What is wrong at the port.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum PortWord {
    /// What was handed on comes back from this address.
    Returned(SocketAddr),
    /// The system has dropped so many datagrams since the tap began.
    Dropped(u64),
}

/// A frame as a gateway heard it or was told to send it, read with the keys at hand.
#[derive(Clone, Debug)]
pub struct Seen {
    /// The frame, heard or to be sent, and what the gateway says of it.
    pub event: Event,
    /// Which of the frames of its datagram, from 0.
    pub index: usize,
    /// What it says; nothing where its CRC fails.
    pub reading: Option<Reading>,
}

impl Seen {
    /// Returns the node of the roster whose key signs it.
    pub fn node(&self) -> Option<&str> {
        match &self.reading.as_ref()?.found.mic {
            MicVerdict::Holds(proof) => proof.source.node.as_deref(),
            _ => None,
        }
    }

    /// Returns whether its MIC fails under every key that should have signed it.
    pub fn mic_fails(&self) -> bool {
        matches!(&self.reading, Some(reading) if matches!(reading.found.mic, MicVerdict::Fails(_)))
    }
}
