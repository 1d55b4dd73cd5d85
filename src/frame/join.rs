//! Join-Request and Rejoin-Request: what a node asks in clear.
//!
//! | frame | octets after MHDR, before MIC | whole |
//! |-------|-------------------------------|-------|
//! | Join-Request | JoinEUI 8, DevEUI 8, DevNonce 2 | 23 |
//! | Rejoin-Request 0, 2 | type 1, NetID 3, DevEUI 8, RJcount0 2 | 19 |
//! | Rejoin-Request 1 | type 1, JoinEUI 8, DevEUI 8, RJcount1 2 | 24 |
//!
//! LoRaWAN 1.0.4 p. 45, 1.1 6.2.4.

use alloc::vec::Vec;

use nom::Parser;

use super::{
    Field, Mhdr, Mic,
    input::{Input, Parsed, Reads, before_mic, field, rest},
};
use crate::id::{DevEui, DevNonce, JoinEui, NetId};

/// A Join-Request.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct JoinRequest {
    /// MHDR.
    pub mhdr: Mhdr,
    /// JoinEUI.
    pub join_eui: JoinEui,
    /// DevEUI.
    pub dev_eui: DevEui,
    /// DevNonce.
    pub dev_nonce: DevNonce,
    /// Octets between DevNonce and MIC; a lawful frame has none.
    pub surplus: Vec<u8>,
    /// MIC.
    pub mic: Mic,
}

impl JoinRequest {
    /// Octets of a lawful Join-Request.
    pub const LEN: usize = 23;

    /// Returns a lawful request with an all-zero MIC, to be signed.
    pub fn new(join_eui: JoinEui, dev_eui: DevEui, dev_nonce: DevNonce) -> Self {
        let mhdr = Mhdr::new(super::FType::JoinRequest);
        Self { mhdr, join_eui, dev_eui, dev_nonce, surplus: Vec::new(), mic: Mic([0; 4]) }
    }

    pub(crate) fn put_signed(&self, out: &mut Vec<u8>) {
        out.push(self.mhdr.0);
        out.extend(self.join_eui.to_wire());
        out.extend(self.dev_eui.to_wire());
        out.extend(self.dev_nonce.to_wire());
        out.extend(&self.surplus);
    }
}

/// A Rejoin-Request (LoRaWAN 1.1 only; its FType is RFU in 1.0.x).
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct RejoinRequest {
    /// MHDR.
    pub mhdr: Mhdr,
    /// What follows the MHDR, by its type octet.
    pub body: RejoinBody,
    /// Octets between the counter and MIC; a lawful frame has none.
    pub surplus: Vec<u8>,
    /// MIC.
    pub mic: Mic,
}

/// The body of a Rejoin-Request, by its type.
#[derive(Clone, Debug, Eq, PartialEq)]
pub enum RejoinBody {
    /// Type 0 (reset everything) or 2 (re-key only).
    Network {
        /// Whether this is type 2.
        keys_only: bool,
        /// NetID of the network served.
        net_id: NetId,
        /// DevEUI.
        dev_eui: DevEui,
        /// RJcount0.
        count: DevNonce,
    },
    /// Type 1: find a join server again.
    JoinServer {
        /// JoinEUI.
        join_eui: JoinEui,
        /// DevEUI.
        dev_eui: DevEui,
        /// RJcount1.
        count: DevNonce,
    },
    /// A reserved type; its layout is unknown and stands in `surplus`.
    Rfu(u8),
}

impl RejoinBody {
    /// Returns the type octet.
    pub const fn rejoin_type(&self) -> u8 {
        match self {
            Self::Network { keys_only: false, .. } => 0,
            Self::JoinServer { .. } => 1,
            Self::Network { keys_only: true, .. } => 2,
            Self::Rfu(octet) => *octet,
        }
    }

    /// Returns the DevEUI, where the type is known.
    pub const fn dev_eui(&self) -> Option<DevEui> {
        match self {
            Self::Network { dev_eui, .. } | Self::JoinServer { dev_eui, .. } => Some(*dev_eui),
            Self::Rfu(_) => None,
        }
    }

    /// Returns RJcount0 or RJcount1, which stands for DevNonce in the answer.
    pub const fn count(&self) -> Option<DevNonce> {
        match self {
            Self::Network { count, .. } | Self::JoinServer { count, .. } => Some(*count),
            Self::Rfu(_) => None,
        }
    }
}

impl RejoinRequest {
    pub(crate) fn put_signed(&self, out: &mut Vec<u8>) {
        out.extend([self.mhdr.0, self.body.rejoin_type()]);
        match &self.body {
            RejoinBody::Network { net_id, dev_eui, count, .. } => {
                out.extend(net_id.to_wire());
                out.extend(dev_eui.to_wire());
                out.extend(count.to_wire());
            }
            RejoinBody::JoinServer { join_eui, dev_eui, count } => {
                out.extend(join_eui.to_wire());
                out.extend(dev_eui.to_wire());
                out.extend(count.to_wire());
            }
            RejoinBody::Rfu(_) => {}
        }
        out.extend(&self.surplus);
    }
}

/// JoinEUI 8 | DevEUI 8 | DevNonce 2 | MIC 4.
pub(super) fn join_request<'a>(mhdr: Mhdr) -> impl Reads<'a, JoinRequest> {
    (
        field(Field::JoinEui, JoinEui::from_wire),
        field(Field::DevEui, DevEui::from_wire),
        field(Field::DevNonce, DevNonce::from_wire),
        before_mic(rest(Field::Surplus)),
        field(Field::Mic, Mic),
    )
        .map(move |(join_eui, dev_eui, dev_nonce, surplus, mic)| {
            let surplus = surplus.to_vec();
            JoinRequest { mhdr, join_eui, dev_eui, dev_nonce, surplus, mic }
        })
}

/// RejoinType 1 and what it says | MIC 4.
pub(super) fn rejoin_request<'a>(mhdr: Mhdr) -> impl Reads<'a, RejoinRequest> {
    (rejoin_body, before_mic(rest(Field::Surplus)), field(Field::Mic, Mic)).map(
        move |(body, surplus, mic)| RejoinRequest { mhdr, body, surplus: surplus.to_vec(), mic },
    )
}

/// 0 or 2 | NetID 3 | DevEUI 8 | RJcount0 2, or 1 | JoinEUI 8 | DevEUI 8 | RJcount1 2.
fn rejoin_body(input: Input<'_>) -> Parsed<'_, RejoinBody> {
    let (input, rejoin_type) = field(Field::RejoinType, |[octet]| octet).parse(input)?;
    match rejoin_type {
        0 | 2 => (
            field(Field::NetId, NetId::from_wire),
            field(Field::DevEui, DevEui::from_wire),
            field(Field::RjCount0, DevNonce::from_wire),
        )
            .map(|(net_id, dev_eui, count)| {
                let keys_only = rejoin_type == 2;
                RejoinBody::Network { keys_only, net_id, dev_eui, count }
            })
            .parse(input),
        1 => (
            field(Field::JoinEui, JoinEui::from_wire),
            field(Field::DevEui, DevEui::from_wire),
            field(Field::RjCount1, DevNonce::from_wire),
        )
            .map(|(join_eui, dev_eui, count)| RejoinBody::JoinServer { join_eui, dev_eui, count })
            .parse(input),
        reserved => Ok((input, RejoinBody::Rfu(reserved))),
    }
}
