//! Join-Request and Rejoin-Request: what a node asks in clear.
//!
//! | frame | octets after MHDR, before MIC | whole |
//! |-------|-------------------------------|-------|
//! | Join-Request | JoinEUI 8, DevEUI 8, DevNonce 2 | 23 |
//! | Rejoin-Request 0, 2 | type 1, NetID 3, DevEUI 8, RJcount0 2 | 19 |
//! | Rejoin-Request 1 | type 1, JoinEUI 8, DevEUI 8, RJcount1 2 | 24 |
//!
//! LoRaWAN 1.0.4 p. 45, 1.1 6.2.4.

use super::{DecodeError, Field, Mhdr, Mic, input::Reader};
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

    pub(super) fn read(reader: &mut Reader<'_>, mhdr: Mhdr) -> Result<Self, DecodeError> {
        Ok(Self {
            mhdr,
            join_eui: JoinEui::from_wire(reader.fixed(Field::JoinEui)?),
            dev_eui: DevEui::from_wire(reader.fixed(Field::DevEui)?),
            dev_nonce: DevNonce::from_wire(reader.fixed(Field::DevNonce)?),
            surplus: reader.rest(Field::Surplus, Mic::LEN).to_vec(),
            mic: Mic(reader.fixed(Field::Mic)?),
        })
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
    pub(super) fn read(reader: &mut Reader<'_>, mhdr: Mhdr) -> Result<Self, DecodeError> {
        let [rejoin_type] = reader.fixed(Field::RejoinType)?;
        let body = match rejoin_type {
            0 | 2 => RejoinBody::Network {
                keys_only: rejoin_type == 2,
                net_id: NetId::from_wire(reader.fixed(Field::NetId)?),
                dev_eui: DevEui::from_wire(reader.fixed(Field::DevEui)?),
                count: DevNonce::from_wire(reader.fixed(Field::RjCount0)?),
            },
            1 => RejoinBody::JoinServer {
                join_eui: JoinEui::from_wire(reader.fixed(Field::JoinEui)?),
                dev_eui: DevEui::from_wire(reader.fixed(Field::DevEui)?),
                count: DevNonce::from_wire(reader.fixed(Field::RjCount1)?),
            },
            other => RejoinBody::Rfu(other),
        };
        let surplus = reader.rest(Field::Surplus, Mic::LEN).to_vec();
        Ok(Self { mhdr, body, surplus, mic: Mic(reader.fixed(Field::Mic)?) })
    }

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
