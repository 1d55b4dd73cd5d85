//! A datagram as the tap met it.

use std::net::SocketAddr;

use jiff::Timestamp;

use crate::{
    id::Eui64,
    intake::{Datagram, Header, Kind, WireError, wire_datagram},
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
        is_from_gateway(self.header.kind)
    }

    /// Returns it as captures have it.
    ///
    /// # Errors
    ///
    /// [`WireError`] where its JSON cannot be read.
    pub fn datagram(&self) -> Result<Datagram, WireError> {
        let mut datagram = wire_datagram(&self.octets)?;
        datagram.at = Some(self.at);
        datagram.gateway = datagram.gateway.or(self.gateway);
        Ok(datagram)
    }

    /// Returns the octets of memory that it takes, about.
    pub(super) fn weight(&self) -> usize {
        size_of::<Self>() + self.octets.len()
    }
}

/// Returns whether gateways send datagrams of that kind.
pub(super) const fn is_from_gateway(kind: Kind) -> bool {
    matches!(kind, Kind::PushData | Kind::PullData | Kind::TxAck)
}
