//! A datagram as on the wire: version, token, identifier, the gateway's EUI from the gateway's side, JSON.

use super::{
    datagram::{Datagram, Kind},
    error::IntakeError,
    forwarder::datagram_json,
};
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
    pub kind: Kind,
    /// The gateway, in what gateways send.
    pub gateway: Option<Eui64>,
    /// Where the JSON begins.
    pub json_at: usize,
}

/// Why octets are no datagram of the gateway's protocol.
#[derive(Clone, Debug, Eq, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum WireError {
    /// It ends within its header.
    #[error("{present} octets: a {what} has at least {needed}")]
    Short {
        /// What it would be.
        what: &'static str,
        /// Octets that its header takes.
        needed: usize,
        /// Octets that there are.
        present: usize,
    },
    /// Octet 0 is neither 1 nor 2.
    #[error("octet 0: version {0}; the protocol has 1 and 2")]
    Version(u8),
    /// Octet 3 is no identifier.
    #[error("octet 3: identifier {0}; the protocol has 0 to 5")]
    Identifier(u8),
    /// The JSON cannot be read.
    #[error("JSON from octet {at}: {why}")]
    Json {
        /// Where it begins.
        at: usize,
        /// What is wrong with it.
        why: IntakeError,
    },
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
        let kind =
            *Kind::ALL.get(usize::from(identifier)).ok_or(WireError::Identifier(identifier))?;
        let named = match kind {
            Kind::PushData | Kind::PullData => true,
            // The document 3.0.0 had the JSON at octet 4; 3.1.0 put the EUI there.
            Kind::TxAck => !rest.is_empty() && !rest.starts_with(b"{"),
            Kind::PushAck | Kind::PullAck | Kind::PullResp => false,
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
            Kind::PushData => 1,
            Kind::PullData => 4,
            _ => return None,
        };
        let [high, low] = self.token.to_be_bytes();
        Some([self.version, high, low, identifier])
    }
}

/// Returns a datagram as it came off the wire; line and time are left for the caller.
///
/// # Errors
///
/// [`WireError`].
pub fn wire_datagram(octets: &[u8]) -> Result<Datagram, WireError> {
    let header = Header::read(octets)?;
    let at = header.json_at;
    let json = octets.get(at..).unwrap_or_default();
    let mut datagram =
        datagram_json(header.kind, json).map_err(|why| WireError::Json { at, why })?;
    datagram.gateway = header.gateway;
    // The protocol's version 1 leaves the octets of a PULL_RESP unused.
    let unused = header.version == 1 && header.kind == Kind::PullResp;
    datagram.token = (!unused).then_some(header.token);
    Ok(datagram)
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
            (0, Kind::PushData, eui),
            (2, Kind::PullData, eui),
            (5, Kind::TxAck, eui),
            (1, Kind::PushAck, None),
            (3, Kind::PullResp, None),
            (4, Kind::PullAck, None),
        ] {
            for version in [1, 2] {
                let octets = from_gateway(version, identifier, "");
                let json_at = if gateway.is_some() { 12 } else { 4 };
                let header = Header { version, token: 0x7B22, kind, gateway, json_at };
                assert_eq!(Header::read(&octets), Ok(header));
                for cut in 0..json_at {
                    let whole = kind == Kind::TxAck && cut == 4;
                    assert_eq!(Header::read(&octets[..cut]).is_ok(), whole, "{kind:?} {cut}");
                }
            }
        }
    }

    #[test]
    fn a_tx_ack_of_the_older_document_has_its_json_at_octet_4() {
        let json = r#"{"txpk_ack":{"error":"TOO_LATE"}}"#;
        let octets = [&[2, 1, 2, 5][..], json.as_bytes()].concat();
        let old = wire_datagram(&octets).unwrap();
        let new = wire_datagram(&from_gateway(2, 5, json)).unwrap();
        assert_eq!(old.ack, new.ack);
        assert_eq!((old.gateway, old.token), (None, Some(0x0102)));
        assert_eq!(wire_datagram(&[2, 1, 2, 5]).unwrap().ack, Some(super::super::TxAck::default()));
    }

    #[test]
    fn json_is_read_where_the_header_ends_even_if_a_token_holds_a_brace() {
        let json = r#"{"rxpk":[{"freq":868.1,"data":"QNq7AQIAAQACx4c="}]}"#;
        let datagram = wire_datagram(&from_gateway(2, 0, json)).unwrap();
        assert_eq!((datagram.rxpk.len(), datagram.token), (1, Some(0x7B22)));
        let cut = wire_datagram(&from_gateway(2, 0, &json[..20])).unwrap_err();
        assert!(matches!(cut, WireError::Json { at: 12, .. }), "{cut}");
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
            (&[][..], "0 octets: a datagram has at least 4"),
            (&[3, 0, 0, 0], "octet 0: version 3; the protocol has 1 and 2"),
            (&[2, 0, 0, 6], "octet 3: identifier 6; the protocol has 0 to 5"),
            (&[2, 0, 0, 2, 1], "5 octets: a PULL_DATA has at least 12"),
        ] {
            assert_eq!(Header::read(octets).unwrap_err().to_string(), wanted);
        }
    }
}
