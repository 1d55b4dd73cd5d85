//! Hosts that speak under an address that is another's.

use std::net::IpAddr;

use super::Moment;
use crate::{id::Eui64, intake::Sender};

/// A host on the same network that sends from the address of a gateway or a server.
///
/// Two link-layer addresses send from one IP address, and all that is sent to that IP address goes to one of
/// them. What the other sends is kept apart: it is no part of the gateway's, the server's or a node's doings.
#[derive(Clone, Debug)]
pub struct OtherHost {
    /// Its link-layer address.
    pub link: [u8; 6],
    /// The link-layer address to which the answers go.
    pub own_link: [u8; 6],
    /// The IP address that both send from.
    pub address: IpAddr,
    /// For whom it speaks.
    pub sender: Sender,
    /// In which gateway's name, or to which gateway.
    pub gateway: Option<Eui64>,
    /// PUSH_DATA that it sends.
    pub pushes: u64,
    /// PULL_DATA that it sends.
    pub pulls: u64,
    /// Downlinks that it orders.
    pub orders: u64,
    /// How many of its datagrams were acknowledged to the address.
    pub acknowledged: u64,
    /// How many of its orders the gateway took.
    pub taken: u64,
    /// The first and the last of it.
    pub span: (Moment, Moment),
    /// Its frames, the first of them.
    pub frames: Vec<OtherFrame>,
}

/// A frame that such a host sent.
#[derive(Clone, Debug)]
pub struct OtherFrame {
    /// Where and when.
    pub moment: Moment,
    /// The PHYPayload.
    pub octets: Box<[u8]>,
}
