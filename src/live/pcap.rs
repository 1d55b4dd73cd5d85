//! A datagram as a packet of a pcap file: IP, UDP, and the octets as they came.
//!
//! | octets | file header | octets | packet header |
//! |--------|-------------|--------|---------------|
//! | 4 | magic a1b2c3d4: microseconds | 4 | seconds |
//! | 2, 2 | version 2.4 | 4 | microseconds |
//! | 8 | zero | 4 | octets in the file |
//! | 4 | longest packet | 4 | octets on the wire |
//! | 4 | link type 101: IP without anything before it | | |
//!
//! All in little-endian order. Layouts: pcap-savefile(5), pcap-linktype(7); RFC 791, RFC 8200, RFC 768.

use std::net::{IpAddr, SocketAddr};

use super::caught::Caught;

/// What a file begins with.
pub(super) const HEADER: [u8; 24] =
    [0xD4, 0xC3, 0xB2, 0xA1, 2, 0, 4, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 4, 0, 101, 0, 0, 0];

/// Writes a datagram as one packet; says whether it can be one.
pub(super) fn write(caught: &Caught, out: &mut Vec<u8>) -> bool {
    let ends = (caught.peer, caught.port);
    let (from, to) = if caught.is_from_gateway() { ends } else { (ends.1, ends.0) };
    let Some(packet) = packet(from, to, &caught.octets) else { return false };
    let (Ok(seconds), Ok(length)) =
        (u32::try_from(caught.at.as_second()), u32::try_from(packet.len()))
    else {
        return false;
    };
    let micros = caught.at.subsec_microsecond().unsigned_abs();
    for number in [seconds, micros, length, length] {
        out.extend_from_slice(&number.to_le_bytes());
    }
    out.extend_from_slice(&packet);
    true
}

fn packet(from: SocketAddr, to: SocketAddr, octets: &[u8]) -> Option<Vec<u8>> {
    let udp_length = u16::try_from(octets.len().checked_add(8)?).ok()?;
    let mut udp = Vec::with_capacity(usize::from(udp_length));
    for number in [from.port(), to.port(), udp_length, 0] {
        udp.extend_from_slice(&number.to_be_bytes());
    }
    udp.extend_from_slice(octets);
    let (mut packet, addresses) = match (from.ip(), to.ip()) {
        (IpAddr::V4(from), IpAddr::V4(to)) => {
            let length = udp_length.checked_add(20)?.to_be_bytes();
            // Version 4, five words; not to be fragmented; 64 hops; UDP.
            let mut header = vec![0x45, 0, length[0], length[1], 0, 0, 0x40, 0, 64, UDP, 0, 0];
            let addresses = [from.octets(), to.octets()].concat();
            header.extend_from_slice(&addresses);
            let sum = checksum(&[&header]).to_be_bytes();
            header.splice(10..12, sum);
            (header, addresses)
        }
        (IpAddr::V6(from), IpAddr::V6(to)) => {
            let length = udp_length.to_be_bytes();
            let addresses = [from.octets(), to.octets()].concat();
            let mut header = vec![0x60, 0, 0, 0, length[0], length[1], UDP, 64];
            header.extend_from_slice(&addresses);
            (header, addresses)
        }
        _ => return None,
    };
    let length = udp_length.to_be_bytes();
    let sum = checksum(&[&addresses, &[0, UDP, length[0], length[1]], &udp]);
    // A sum of zero would say that there is none.
    let sum = if sum == 0 { 0xFFFF } else { sum };
    udp.splice(6..8, sum.to_be_bytes());
    packet.extend_from_slice(&udp);
    Some(packet)
}

/// Returns the checksum of IP over parts that follow each other; all but the last have an even length.
fn checksum(parts: &[&[u8]]) -> u16 {
    let words = parts.iter().flat_map(|part| part.chunks(2)).map(|pair| match *pair {
        [high, low] => u32::from(u16::from_be_bytes([high, low])),
        [high] => u32::from(high) << 8,
        _ => 0,
    });
    let mut sum: u32 = words.sum();
    while sum > 0xFFFF {
        sum = (sum & 0xFFFF) + (sum >> 16);
    }
    !u16::try_from(sum).unwrap_or(u16::MAX)
}

/// Its number in IP.
const UDP: u8 = 17;

#[cfg(test)]
mod tests {
    use super::*;

    // Example of an IPv4 header and its checksum, b861: the example that RFC 1071's method is commonly
    // shown with, 4500 0073 0000 4000 4011 b861 c0a8 0001 c0a8 00c7.
    #[test]
    fn the_checksum_is_that_of_ip() {
        let header = hex::decode("450000730000400040110000c0a80001c0a800c7").unwrap();
        assert_eq!(checksum(&[&header]), 0xB861);
        let whole = hex::decode("45000073000040004011b861c0a80001c0a800c7").unwrap();
        assert_eq!(checksum(&[&whole]), 0, "over a whole header the sum is zero");
    }

    #[test]
    fn a_packet_carries_both_addresses_and_all_octets() {
        let octets = b"\x02\x35\x3c\x02\x02\0\0\xff\xfe\xa0\x94\x42";
        for (from, to, header) in
            [("192.0.2.7:40123", "127.0.0.1:1700", 20), ("[2001:db8::7]:40123", "[::1]:1700", 40)]
        {
            let packet = packet(from.parse().unwrap(), to.parse().unwrap(), octets).unwrap();
            assert_eq!(packet.len(), header + 8 + octets.len());
            assert_eq!(packet[header..header + 4], [0x9C, 0xBB, 0x06, 0xA4]);
            assert_eq!(&packet[header + 8..], octets);
        }
        assert!(
            packet("192.0.2.7:1".parse().unwrap(), "[::1]:1".parse().unwrap(), octets).is_none()
        );
        let too_long = vec![0; 65_536];
        let at = "127.0.0.1:1".parse().unwrap();
        assert!(packet(at, at, &too_long).is_none());
    }
}
