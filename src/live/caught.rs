//! A datagram as the tap met it.

use std::{net::SocketAddr, sync::Arc};

use jiff::Timestamp;

use crate::{
    id::Eui64,
    intake::{Ends, Event, Header, Position, WireError, wire_events},
};

/// A datagram as it passed, with what the tap knows of its way.
#[derive(Clone, Debug)]
pub struct Caught {
    /// When it came.
    pub at: Timestamp,
    /// The gateway's address.
    pub peer: SocketAddr,
    /// The other end: the port of the tap that the gateway speaks to.
    pub port: SocketAddr,
    /// Its header.
    pub header: Header,
    /// The gateway: named by the datagram, or else by others of the same address.
    pub gateway: Option<Eui64>,
    /// All octets.
    pub octets: Box<[u8]>,
}

impl Caught {
    /// Returns whether a gateway sent it.
    pub const fn is_from_gateway(&self) -> bool {
        self.header.kind.is_from_gateway()
    }

    /// Returns from where to where it went.
    pub const fn ends(&self) -> (SocketAddr, SocketAddr) {
        if self.is_from_gateway() { (self.peer, self.port) } else { (self.port, self.peer) }
    }

    /// Returns what it says, as the packet of that number.
    ///
    /// # Errors
    ///
    /// [`WireError`] where its JSON cannot be read.
    pub fn events(&self, number: u64) -> Result<Vec<Event>, WireError> {
        let mut events = wire_events(&self.octets)?;
        let (from, to) = self.ends();
        let ends = Arc::new(Ends { link: None, from, to });
        for (index, event) in (0..).zip(&mut events) {
            event.place = Position { index, ..Position::packet(number) };
            event.time = Some(self.at);
            event.gateway = event.gateway.or(self.gateway);
            event.wire.ends = Some(Arc::clone(&ends));
        }
        Ok(events)
    }

    /// Returns the octets of memory that it takes, about.
    pub(super) fn weight(&self) -> usize {
        size_of::<Self>() + self.octets.len()
    }
}
