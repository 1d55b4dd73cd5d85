//! Datagrams as IP packets.

use std::{
    io::{self, Write},
    net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr},
};

use etherparse::PacketBuilder;
use jiff::Timestamp;

use super::pcap::{Pcap, invalid};

/// Writes UDP datagrams to a pcap of raw IP packets (link type 101) with the checksums that they had, or would
/// have had, on the way.
///
/// ```
/// use handfast::{intake::{Capture, Item}, record::DatagramPcap};
///
/// let (gateway, server) = ("192.0.2.7:40123".parse()?, "192.0.2.1:1700".parse()?);
/// let mut pcap = DatagramPcap::new(Vec::new())?;
/// pcap.write("2026-04-18T06:10:03Z".parse()?, gateway, server, b"\x02\x35\x3c\x02\x02\0\0\xff\xfe\xa0\x94\x42")?;
/// for item in Capture::new(pcap.into_inner().as_slice()) {
///     let Item::Event(event) = item? else { panic!() };
///     assert_eq!(event.gateway.unwrap().hex(), "020000fffea09442");
/// }
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug)]
pub struct DatagramPcap<W>(Pcap<W>);

impl<W: Write> DatagramPcap<W> {
    /// Returns a writer once the file's header is written.
    ///
    /// # Errors
    ///
    /// Those of the stream.
    pub fn new(writer: W) -> io::Result<Self> {
        Pcap::new(writer, RAW_IP).map(Self)
    }

    /// Writes one datagram.
    ///
    /// Addresses of both families mixed are written as IPv6, the IPv4 one mapped (RFC 4291, 2.5.5.2).
    ///
    /// # Errors
    ///
    /// Those of the stream; [`io::ErrorKind::InvalidInput`], and nothing is written, for more octets than a UDP
    /// datagram can have and for a time that is not from 1970 to 2106.
    pub fn write(
        &mut self,
        at: Timestamp,
        from: SocketAddr,
        to: SocketAddr,
        octets: &[u8],
    ) -> io::Result<()> {
        self.0.write(at, |record| {
            let builder = match (from.ip().to_canonical(), to.ip().to_canonical()) {
                (IpAddr::V4(from), IpAddr::V4(to)) => {
                    PacketBuilder::ipv4(from.octets(), to.octets(), HOPS)
                }
                (from, to) => PacketBuilder::ipv6(v6(from).octets(), v6(to).octets(), HOPS),
            };
            builder
                .udp(from.port(), to.port())
                .write(record, octets)
                .map_err(|_| invalid("more bytes than a datagram can have"))
        })
    }

    /// Returns the stream.
    pub const fn get_ref(&self) -> &W {
        self.0.get_ref()
    }

    /// Returns the stream, to flush or sync it.
    pub const fn get_mut(&mut self) -> &mut W {
        self.0.get_mut()
    }

    /// Returns the stream.
    pub fn into_inner(self) -> W {
        self.0.into_inner()
    }
}

const fn v6(address: IpAddr) -> Ipv6Addr {
    match address {
        IpAddr::V4(address) => Ipv4Addr::to_ipv6_mapped(&address),
        IpAddr::V6(address) => address,
    }
}

/// LINKTYPE_RAW.
const RAW_IP: u32 = 101;
/// Time to live of what is written: as it left.
const HOPS: u8 = 64;

#[cfg(test)]
mod tests {
    use super::*;

    fn packet(from: &str, to: &str, octets: &[u8]) -> Vec<u8> {
        let mut pcap = DatagramPcap::new(Vec::new()).unwrap();
        pcap.write(Timestamp::UNIX_EPOCH, from.parse().unwrap(), to.parse().unwrap(), octets)
            .unwrap();
        pcap.into_inner().split_off(24 + 16)
    }

    /// The Internet checksum, RFC 1071: the sum over what holds its own checksum is all ones.
    fn sums_up(parts: &[&[u8]]) -> bool {
        let octets = parts.concat();
        let mut sum: u32 = octets
            .chunks(2)
            .map(|pair| u32::from(pair[0]) << 8 | u32::from(*pair.get(1).unwrap_or(&0)))
            .sum();
        while sum > 0xFFFF {
            sum = (sum & 0xFFFF) + (sum >> 16);
        }
        sum == 0xFFFF
    }

    #[test]
    fn checksums_hold_in_both_families() {
        for octets in [&b"odd"[..], b"even", b""] {
            let v4 = packet("192.0.2.7:40123", "192.0.2.1:1700", octets);
            assert_eq!(v4.len(), 28 + octets.len());
            assert!(sums_up(&[&v4[..20]]));
            let length = u16::try_from(v4.len() - 20).unwrap().to_be_bytes();
            assert!(sums_up(&[&v4[12..20], &[0, 17], &length, &v4[20..]]));
            let v6 = packet("[2001:db8::7]:40123", "[2001:db8::1]:1700", octets);
            assert_eq!(v6.len(), 48 + octets.len());
            assert!(sums_up(&[&v6[8..40], &length, &[0, 17], &v6[40..]]));
            assert_eq!(&v4[20..24], &[0x9C, 0xBB, 0x06, 0xA4]);
            assert_eq!((&v4[28..], &v6[48..]), (octets, octets));
        }
    }

    #[test]
    fn mixed_and_mapped_addresses_find_a_family() {
        assert_eq!(packet("[::ffff:192.0.2.7]:1", "192.0.2.1:2", b"")[0] >> 4, 4);
        let mixed = packet("192.0.2.7:1", "[::1]:2", b"");
        assert_eq!((mixed[0] >> 4, &mixed[18..24]), (6, &[0xFF, 0xFF, 192, 0, 2, 7][..]));
    }

    #[test]
    fn more_than_a_datagram_can_have_is_refused_and_leaves_nothing() {
        let mut pcap = DatagramPcap::new(Vec::new()).unwrap();
        let at = "192.0.2.7:1".parse().unwrap();
        let mut write = |n| pcap.write(Timestamp::UNIX_EPOCH, at, at, &vec![0; n]);
        assert!(write(65_507).is_ok());
        assert_eq!(write(65_508).unwrap_err().kind(), io::ErrorKind::InvalidInput);
        assert_eq!(pcap.into_inner().len(), 24 + 16 + 65_535);
    }
}
