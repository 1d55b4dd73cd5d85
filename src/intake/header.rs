//! What is in front of the JSON of a datagram: version, token, identifier, the gateway's EUI from its side.

use super::error::WireError;
use crate::id::Eui64;

/// What stands in front of the JSON of a datagram.
///
/// Source: the gateway protocol's document, versions 1 and 2, sections 3 to 6.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct Header {
    /// Version of the protocol: 1 or 2.
    pub version: u8,
    /// The two octets by which an answer finds its question, first octet most significant.
    pub token: u16,
    /// What it is.
    pub kind: DatagramKind,
    /// The gateway, in what gateways send.
    pub gateway: Option<Eui64>,
    /// Where the JSON begins.
    pub json_at: usize,
}

impl Header {
    /// Reads the header of a datagram; what follows it is not looked at, but for a TX_ACK, which one version of the
    /// protocol's document gave no EUI.
    ///
    /// # Errors
    ///
    /// All of [`WireError`] but [`WireError::Json`].
    pub fn read(octets: &[u8]) -> Result<Self, WireError> {
        let short = |what, needed| WireError::Short { what, needed, present: octets.len() };
        let &[version, high, low, identifier, ref rest @ ..] = octets else {
            return Err(short("datagram", SHORT));
        };
        if !(1..=2).contains(&version) {
            return Err(WireError::Version(version));
        }
        let kind = *DatagramKind::ALL
            .get(usize::from(identifier))
            .ok_or(WireError::Identifier(identifier))?;
        let named = match kind {
            DatagramKind::PushData | DatagramKind::PullData => true,
            // The document 3.0.0 had the JSON at octet 4; 3.1.0 put the EUI there.
            DatagramKind::TxAck => !rest.is_empty() && !rest.starts_with(b"{"),
            DatagramKind::PushAck | DatagramKind::PullAck | DatagramKind::PullResp => false,
        };
        let gateway = match (named, rest.first_chunk()) {
            (false, _) => None,
            (true, Some(eui)) => Some(Eui64::new(*eui)),
            (true, None) => return Err(short(kind.name(), LONG)),
        };
        let token = u16::from_be_bytes([high, low]);
        Ok(Self { version, token, kind, gateway, json_at: if named { LONG } else { SHORT } })
    }

    /// Returns the acknowledgement that a server owes for what has this header: four octets.
    pub const fn acknowledgement(&self) -> Option<[u8; 4]> {
        let identifier = match self.kind {
            DatagramKind::PushData => 1,
            DatagramKind::PullData => 4,
            _ => return None,
        };
        let [high, low] = self.token.to_be_bytes();
        Some([self.version, high, low, identifier])
    }
}

/// The kinds of datagram of the gateway's UDP protocol.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub enum DatagramKind {
    /// Frames heard, or a report; from the gateway.
    PushData,
    /// The server took a PUSH_DATA.
    PushAck,
    /// The gateway asks for downlinks.
    PullData,
    /// The server took a PULL_DATA.
    PullAck,
    /// A frame to send; from the server.
    PullResp,
    /// What the gateway did with a PULL_RESP.
    TxAck,
}

impl DatagramKind {
    /// Every kind, in the order of its identifier on the wire, from 0.
    pub const ALL: [Self; 6] =
        [Self::PushData, Self::PushAck, Self::PullData, Self::PullResp, Self::PullAck, Self::TxAck];

    /// Returns the name as the protocol spells it: `PUSH_DATA`.
    pub const fn name(self) -> &'static str {
        match self {
            Self::PushData => "PUSH_DATA",
            Self::PushAck => "PUSH_ACK",
            Self::PullData => "PULL_DATA",
            Self::PullResp => "PULL_RESP",
            Self::PullAck => "PULL_ACK",
            Self::TxAck => "TX_ACK",
        }
    }

    /// Returns the kind of that name, in any case.
    pub fn by_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.name().eq_ignore_ascii_case(name))
    }

    /// Returns whether gateways send such datagrams.
    pub const fn is_from_gateway(self) -> bool {
        matches!(self, Self::PushData | Self::PullData | Self::TxAck)
    }
}

/// Octets of a header without the gateway's EUI.
const SHORT: usize = 4;
/// Octets of a header with it.
const LONG: usize = 12;

#[cfg(test)]
mod tests {
    use super::*;

    const EUI: [u8; 8] = [2, 0, 0, 0xFF, 0xFE, 0xA0, 0x94, 0x42];

    fn from_gateway(version: u8, identifier: u8, json: &str) -> Vec<u8> {
        [&[version, 0x7B, 0x22, identifier][..], &EUI, json.as_bytes()].concat()
    }

    // Layouts: the gateway protocol's document 4.0.1, sections 3 to 6.
    #[test]
    fn each_identifier_has_its_header() {
        let eui = Some(Eui64::new(EUI));
        for (identifier, kind, gateway) in [
            (0, DatagramKind::PushData, eui),
            (2, DatagramKind::PullData, eui),
            (5, DatagramKind::TxAck, eui),
            (1, DatagramKind::PushAck, None),
            (3, DatagramKind::PullResp, None),
            (4, DatagramKind::PullAck, None),
        ] {
            for version in [1, 2] {
                let octets = from_gateway(version, identifier, "");
                let json_at = if gateway.is_some() { 12 } else { 4 };
                let header = Header { version, token: 0x7B22, kind, gateway, json_at };
                assert_eq!(Header::read(&octets), Ok(header));
                for cut in 0..json_at {
                    let whole = kind == DatagramKind::TxAck && cut == 4;
                    assert_eq!(Header::read(&octets[..cut]).is_ok(), whole, "{kind:?} {cut}");
                }
            }
        }
    }

    #[test]
    fn a_gateway_is_answered_with_its_token() {
        let push = Header::read(&from_gateway(2, 0, "{}")).unwrap();
        let pull = Header::read(&from_gateway(1, 2, "")).unwrap();
        assert_eq!(push.acknowledgement(), Some([2, 0x7B, 0x22, 1]));
        assert_eq!(pull.acknowledgement(), Some([1, 0x7B, 0x22, 4]));
        assert_eq!(Header::read(&from_gateway(2, 5, "")).unwrap().acknowledgement(), None);
    }

    #[test]
    fn other_octets_are_refused_by_what_is_wrong() {
        for (octets, wanted) in [
            (&[][..], "0 bytes: a datagram has at least 4"),
            (&[3, 0, 0, 0], "byte 0: version 3; the protocol has 1 and 2"),
            (&[2, 0, 0, 6], "byte 3: identifier 6; the protocol has 0 to 5"),
            (&[2, 0, 0, 2, 1], "5 bytes: a PULL_DATA has at least 12"),
        ] {
            assert_eq!(Header::read(octets).unwrap_err().to_string(), wanted);
        }
    }

    #[test]
    fn every_kind_is_found_by_its_name() {
        for kind in DatagramKind::ALL {
            assert_eq!(DatagramKind::by_name(kind.name()), Some(kind));
            assert_eq!(DatagramKind::by_name(&kind.name().to_lowercase()), Some(kind));
        }
        assert_eq!(DatagramKind::by_name("PUSH"), None);
    }
}
