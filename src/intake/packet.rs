//! Link layers: what of a packet is a UDP datagram.
//!
//! | link type | number | before IP |
//! |-----------|--------|-----------|
//! | loopback | 0, 108 | address family, in the recorder's order or most significant octet first |
//! | Ethernet | 1 | 14 octets, and VLAN tags |
//! | raw IP | 101, 228, 229, and 12, 14 of some systems | nothing |
//! | Linux cooked | 113 | 16 octets, the last two the EtherType |
//! | Linux cooked, version 2 | 276 | 20 octets, the first two the EtherType |
//! | LoRaTap | 270 | no IP at all |
//!
//! Source: link-layer header types of pcap (draft-ietf-opsawg-pcaplinktype) and the layouts it names.

use std::net::{IpAddr, SocketAddr};

use etherparse::{
    EtherType, LaxNetSlice, LaxSlicedPacket, LinkSlice, TransportSlice, UdpSlice, icmpv4, icmpv6,
};

use super::{
    event::{Network, Unreachable},
    loratap::LoraTap,
};

/// What a packet is.
#[derive(Debug)]
pub(super) enum Content<'a> {
    /// A UDP datagram.
    Udp(Udp<'a>),
    /// A fragment of an IP packet; the first one of a UDP datagram with what it has of it.
    Fragment(Option<Udp<'a>>),
    /// What the network says of a UDP datagram.
    Network(Network),
    /// A frame with LoRaTap before it.
    LoraTap,
    /// Something else, or too damaged to be told.
    Other,
    /// A link layer that is not read.
    LinkType(u16),
}

/// A UDP datagram.
#[derive(Debug)]
pub(super) struct Udp<'a> {
    /// Link-layer addresses, from and to.
    pub(super) link: Option<[[u8; 6]; 2]>,
    pub(super) from: SocketAddr,
    pub(super) to: SocketAddr,
    /// What was recorded of it.
    pub(super) payload: &'a [u8],
    /// Octets that it has.
    pub(super) stated: usize,
    /// Octets of the packet from the first of the payload on.
    pub(super) behind: usize,
    /// The identification of its IP packet, which version 6 has not.
    pub(super) identification: u16,
}

/// Finds the datagram in a packet.
pub(super) fn find(link_type: u16, packet: &[u8]) -> Content<'_> {
    let sliced = match link_type {
        1 => LaxSlicedPacket::from_ethernet(packet).ok(),
        12 | 14 | 101 | 228 | 229 => LaxSlicedPacket::from_ip(packet).ok(),
        0 | 108 => packet.split_first_chunk().and_then(|(family, ip)| {
            is_ip_family(*family).then(|| LaxSlicedPacket::from_ip(ip).ok()).flatten()
        }),
        113 => packet.split_first_chunk().map(|(head, rest)| {
            let &[_, _, _, _, _, _, _, _, _, _, _, _, _, _, p0, p1]: &[u8; 16] = head;
            of_ether_type([p0, p1], rest)
        }),
        276 => packet.split_first_chunk().map(|(head, rest)| {
            let &[p0, p1, ..]: &[u8; 20] = head;
            of_ether_type([p0, p1], rest)
        }),
        LoraTap::LINK_TYPE => return Content::LoraTap,
        other => return Content::LinkType(other),
    };
    sliced.map_or(Content::Other, |sliced| of_slices(packet, &sliced))
}

fn of_ether_type(ether_type: [u8; 2], rest: &[u8]) -> LaxSlicedPacket<'_> {
    LaxSlicedPacket::from_ether_type(EtherType(u16::from_be_bytes(ether_type)), rest)
}

/// Address families of IP: 2 of version 4; version 6 is 10, 24, 28 or 30 by the system that recorded.
const fn is_ip_family(family: [u8; 4]) -> bool {
    matches!(family, [family, 0, 0, 0] | [0, 0, 0, family] if matches!(family, 2 | 10 | 24 | 28 | 30))
}

fn of_slices<'a>(packet: &'a [u8], sliced: &LaxSlicedPacket<'a>) -> Content<'a> {
    let Some((from, to)) = addresses(sliced) else { return Content::Other };
    let (identification, ip) = match &sliced.net {
        Some(LaxNetSlice::Ipv4(v4)) => (v4.header().identification(), v4.payload()),
        Some(LaxNetSlice::Ipv6(v6)) => (0, v6.payload()),
        Some(LaxNetSlice::Arp(_)) | None => return Content::Other,
    };
    let udp = match &sliced.transport {
        Some(TransportSlice::Udp(udp)) => Some(udp.clone()),
        // What comes behind a fragment's header is not looked at, but the first one has UDP's.
        None if ip.fragmented && ip.ip_number == etherparse::IpNumber::UDP => {
            UdpSlice::from_slice_lax(ip.payload).ok()
        }
        _ => None,
    };
    let udp = udp.map(|udp| {
        let payload = udp.payload();
        let stated = usize::from(udp.length()).saturating_sub(UDP_HEADER);
        Udp {
            link: link(sliced),
            from: SocketAddr::new(from, udp.source_port()),
            to: SocketAddr::new(to, udp.destination_port()),
            payload,
            // A length of 0 is for datagrams longer than 16 bits tell: it goes to the end.
            stated: if udp.length() == 0 { payload.len() } else { stated },
            behind: (packet.as_ptr() as usize + packet.len()) - payload.as_ptr() as usize,
            identification,
        }
    });
    match (ip.fragmented, udp) {
        (true, udp) => Content::Fragment(udp),
        (false, Some(udp)) => Content::Udp(udp),
        (false, None) => unreachable(from, sliced).map_or(Content::Other, Content::Network),
    }
}

fn addresses(sliced: &LaxSlicedPacket<'_>) -> Option<(IpAddr, IpAddr)> {
    match &sliced.net {
        Some(LaxNetSlice::Ipv4(v4)) => {
            let header = v4.header();
            Some((header.source_addr().into(), header.destination_addr().into()))
        }
        Some(LaxNetSlice::Ipv6(v6)) => {
            let header = v6.header();
            Some((header.source_addr().into(), header.destination_addr().into()))
        }
        Some(LaxNetSlice::Arp(_)) | None => None,
    }
}

fn link(sliced: &LaxSlicedPacket<'_>) -> Option<[[u8; 6]; 2]> {
    match &sliced.link {
        Some(LinkSlice::Ethernet2(ethernet)) => Some([ethernet.source(), ethernet.destination()]),
        _ => None,
    }
}

/// An ICMP error about a UDP datagram, of which it repeats the first bytes: at least IP header and ports.
fn unreachable(by: IpAddr, sliced: &LaxSlicedPacket<'_>) -> Option<Network> {
    let (what, original) = match &sliced.transport {
        Some(TransportSlice::Icmpv4(icmp)) if icmp.type_u8() == icmpv4::TYPE_DEST_UNREACH => {
            let what = match icmp.code_u8() {
                icmpv4::CODE_DST_UNREACH_NET => Unreachable::Network,
                icmpv4::CODE_DST_UNREACH_HOST => Unreachable::Host,
                icmpv4::CODE_DST_UNREACH_PORT => Unreachable::Port,
                icmpv4::CODE_DST_UNREACH_NET_PROHIB
                | icmpv4::CODE_DST_UNREACH_HOST_PROHIB
                | icmpv4::CODE_DST_UNREACH_FILTER_PROHIB => Unreachable::Prohibited,
                other => Unreachable::Other(other),
            };
            (what, icmp.payload())
        }
        Some(TransportSlice::Icmpv6(icmp)) if icmp.type_u8() == icmpv6::TYPE_DST_UNREACH => {
            let what = match icmp.code_u8() {
                icmpv6::CODE_DST_UNREACH_NO_ROUTE => Unreachable::Network,
                icmpv6::CODE_DST_UNREACH_ADDR => Unreachable::Host,
                icmpv6::CODE_DST_UNREACH_PORT => Unreachable::Port,
                icmpv6::CODE_DST_UNREACH_PROHIBITED
                | icmpv6::CODE_DST_UNREACH_SOURCE_ADDRESS_FAILED_POLICY
                | icmpv6::CODE_DST_UNREACH_REJECT_ROUTE_TO_DEST => Unreachable::Prohibited,
                other => Unreachable::Other(other),
            };
            (what, icmp.payload())
        }
        _ => return None,
    };
    let original = LaxSlicedPacket::from_ip(original).ok()?;
    let (from, to) = addresses(&original)?;
    let Some(TransportSlice::Udp(udp)) = &original.transport else { return None };
    let from = SocketAddr::new(from, udp.source_port());
    let to = SocketAddr::new(to, udp.destination_port());
    Some(Network::Unreachable { by, what, from, to })
}

const UDP_HEADER: usize = 8;
