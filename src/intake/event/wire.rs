//! The datagram around an event, and what the network says of datagrams.

use std::{
    net::{IpAddr, SocketAddr},
    sync::Arc,
};

/// The datagram that carried an event, as far as the capture shows it.
#[derive(Clone, Debug, Default, Eq, PartialEq)]
pub struct Wire {
    /// Who sent it.
    pub sender: Option<Sender>,
    /// Version of the UDP protocol: 1 or 2.
    pub version: Option<u8>,
    /// The two bytes by which an answer finds its question, first byte most significant.
    pub token: Option<u16>,
    /// From where to where it went; one for all events of a datagram.
    pub ends: Option<Arc<Ends>>,
}

/// Who sent a datagram.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub enum Sender {
    /// The gateway: towards the server.
    Gateway,
    /// The server: towards the gateway.
    Server,
}

/// From where to where a datagram went.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct Ends {
    /// Link-layer addresses of the last hop, from and to, where the recording has them.
    pub link: Option<[[u8; 6]; 2]>,
    /// IP address and port that sent it.
    pub from: SocketAddr,
    /// IP address and port that it was sent to.
    pub to: SocketAddr,
}

/// What the network says of the gateway's datagrams.
#[derive(Clone, Debug, Eq, PartialEq)]
#[non_exhaustive]
pub enum Network {
    /// An ICMP error: a UDP datagram did not arrive.
    Unreachable {
        /// Who says it: the host that was asked, or a router on the way.
        by: IpAddr,
        /// What cannot be reached.
        what: Unreachable,
        /// IP address and port that sent the datagram.
        from: SocketAddr,
        /// IP address and port that it was sent to.
        to: SocketAddr,
    },
    /// A question to the DNS, for an address.
    Asked {
        /// The name that is asked for.
        name: String,
    },
    /// An answer of the DNS.
    Resolved {
        /// The name that was asked for.
        name: String,
        /// RCODE: 0 no error, 2 server failure, 3 no such name (RFC 1035, 4.1.1).
        rcode: u8,
        /// The addresses.
        addresses: Vec<IpAddr>,
    },
}

/// What an ICMP error says cannot be reached (RFC 792; RFC 4443, 3.1).
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
#[non_exhaustive]
pub enum Unreachable {
    /// The network.
    Network,
    /// The host.
    Host,
    /// The port: the host is there, and no program listens.
    Port,
    /// A firewall forbids it.
    Prohibited,
    /// Another code.
    Other(u8),
}
