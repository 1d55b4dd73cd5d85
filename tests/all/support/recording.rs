//! Recorded packets for tests: link layers, pcap and pcapng laid out octet by octet.
//!
//! Layouts: PCAP Capture File Format (draft-ietf-opsawg-pcap), PCAP Now Generic (draft-ietf-opsawg-pcapng),
//! link-layer header types (draft-ietf-opsawg-pcaplinktype). IP and UDP come from the library's writer, whose
//! checksums its own tests recompute.

use std::net::SocketAddr;

use handfast::{
    intake::{Capture, DatagramKind, Event, Item},
    record::DatagramPcap,
};
use jiff::Timestamp;
use serde_json::Value;

/// A datagram on its way.
#[derive(Clone, Debug)]
pub(crate) struct Shot {
    pub(crate) at: Timestamp,
    pub(crate) from: SocketAddr,
    pub(crate) to: SocketAddr,
    pub(crate) payload: Vec<u8>,
}

impl Shot {
    pub(crate) fn new(at: &str, from: &str, to: &str, payload: &[u8]) -> Self {
        let (from, to) = (from.parse().unwrap(), to.parse().unwrap());
        Self { at: at.parse().unwrap(), from, to, payload: payload.to_vec() }
    }

    pub(crate) fn at(&self, at: &str) -> Self {
        Self { at: at.parse().unwrap(), ..self.clone() }
    }

    /// The IP packet that carries it.
    pub(crate) fn ip(&self) -> Vec<u8> {
        let mut pcap = DatagramPcap::new(Vec::new()).unwrap();
        pcap.write(self.at, self.from, self.to, &self.payload).unwrap();
        pcap.into_inner().split_off(40)
    }
}

/// What a datagram has in front of its JSON: version, token, identifier, the gateway's EUI from its side.
pub(crate) fn wire(
    version: u8,
    token: u16,
    kind: DatagramKind,
    eui: Option<&str>,
    json: &str,
) -> Vec<u8> {
    let [high, low] = token.to_be_bytes();
    let identifier = DatagramKind::ALL.iter().position(|k| *k == kind).unwrap();
    let mut octets = vec![version, high, low, u8::try_from(identifier).unwrap()];
    octets.extend(eui.map(|eui| hex::decode(eui).unwrap()).unwrap_or_default());
    octets.extend_from_slice(json.as_bytes());
    octets
}

/// The datagrams of capture lines as they were on the wire, each gateway at an address of its own.
pub(crate) fn shots(capture: &str, v6: bool) -> Vec<Shot> {
    let mut gateways: Vec<String> = Vec::new();
    let mut out = Vec::new();
    for line in capture.lines() {
        let line: Value = serde_json::from_str(line).unwrap();
        let text = |name: &str| line[name].as_str().unwrap().to_owned();
        let (kind, eui) =
            (DatagramKind::by_name(&text("kind")).unwrap(), text("gateway").to_lowercase());
        let place = gateways.iter().position(|known| *known == eui).unwrap_or_else(|| {
            gateways.push(eui.clone());
            gateways.len() - 1
        });
        let (gateway, server) = if v6 {
            (format!("[2001:db8::{}]:40123", place + 7), "[2001:db8::1]:1700")
        } else {
            (format!("192.0.2.{}:40123", place + 7), "192.0.2.1:1700")
        };
        let up = kind.is_from_gateway();
        let json =
            if line["datagram"].is_null() { String::new() } else { line["datagram"].to_string() };
        let token = u16::from_str_radix(&text("token"), 16).unwrap();
        let payload = wire(2, token, kind, up.then_some(eui.as_str()), &json);
        let (from, to) = if up { (gateway.as_str(), server) } else { (server, gateway.as_str()) };
        out.push(Shot::new(&text("at"), from, to, &payload));
    }
    out
}

/// A link layer: its number, and what stands before an IP packet.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Link {
    pub(crate) name: &'static str,
    pub(crate) number: u16,
    before: fn(u16) -> Vec<u8>,
}

impl Link {
    pub(crate) fn packet(&self, ip: &[u8]) -> Vec<u8> {
        let ether_type = if ip[0] >> 4 == 4 { 0x0800 } else { 0x86DD };
        [&(self.before)(ether_type)[..], ip].concat()
    }
}

fn ethernet(tags: &[u16], ether_type: u16) -> Vec<u8> {
    let mut head = vec![2, 0, 0, 0, 0, 1, 2, 0, 0, 0, 0, 7];
    for tag in tags {
        head.extend_from_slice(&tag.to_be_bytes());
        head.extend_from_slice(&[0x20, 0x07]);
    }
    head.extend_from_slice(&ether_type.to_be_bytes());
    head
}

fn family(ether_type: u16) -> u32 {
    if ether_type == 0x0800 { 2 } else { 30 }
}

pub(crate) const RAW: Link = Link { name: "raw IP", number: 101, before: |_| Vec::new() };

/// Every link layer that is read, with and without tags.
pub(crate) const LINKS: [Link; 10] = [
    Link { name: "Ethernet", number: 1, before: |ip| ethernet(&[], ip) },
    Link { name: "VLAN", number: 1, before: |ip| ethernet(&[0x8100], ip) },
    Link { name: "VLAN in VLAN", number: 1, before: |ip| ethernet(&[0x88A8, 0x8100], ip) },
    Link {
        name: "Linux cooked",
        number: 113,
        before: |ip| [&[0, 0, 0, 1, 0, 6, 2, 0, 0, 0, 0, 7, 0, 0][..], &ip.to_be_bytes()].concat(),
    },
    Link {
        name: "Linux cooked 2",
        number: 276,
        before: |ip| {
            let rest = [0, 0, 0, 0, 0, 2, 0, 1, 0, 6, 2, 0, 0, 0, 0, 7, 0, 0];
            [&ip.to_be_bytes()[..], &rest].concat()
        },
    },
    RAW,
    Link { name: "raw IP of some systems", number: 12, before: |_| Vec::new() },
    Link { name: "null", number: 0, before: |ip| family(ip).to_le_bytes().to_vec() },
    Link { name: "null, other order", number: 0, before: |ip| family(ip).to_be_bytes().to_vec() },
    Link { name: "loop", number: 108, before: |ip| family(ip).to_be_bytes().to_vec() },
];

/// Octets of numbers in one order or the other.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(crate) enum Order {
    Big,
    Little,
}

impl Order {
    pub(crate) fn u16(self, n: u16) -> Vec<u8> {
        if self == Self::Big { n.to_be_bytes().to_vec() } else { n.to_le_bytes().to_vec() }
    }

    pub(crate) fn u32(self, n: u32) -> Vec<u8> {
        if self == Self::Big { n.to_be_bytes().to_vec() } else { n.to_le_bytes().to_vec() }
    }

    fn i64(self, n: i64) -> Vec<u8> {
        if self == Self::Big { n.to_be_bytes().to_vec() } else { n.to_le_bytes().to_vec() }
    }
}

fn seconds(at: Timestamp) -> u32 {
    u32::try_from(at.as_second()).unwrap()
}

fn len(octets: &[u8]) -> u32 {
    u32::try_from(octets.len()).unwrap()
}

/// A pcap file.
pub(crate) fn pcap(
    order: Order,
    nanos: bool,
    link: u16,
    packets: &[(Timestamp, Vec<u8>)],
) -> Vec<u8> {
    let magic = if nanos { 0xA1B2_3C4D } else { 0xA1B2_C3D4 };
    let mut out = order.u32(magic);
    out.extend(order.u16(2));
    out.extend(order.u16(4));
    for number in [0, 0, 262_144, u32::from(link)] {
        out.extend(order.u32(number));
    }
    for (at, packet) in packets {
        let nanoseconds = at.subsec_nanosecond().unsigned_abs();
        let fraction = if nanos { nanoseconds } else { nanoseconds / 1_000 };
        for number in [seconds(*at), fraction, len(packet), len(packet)] {
            out.extend(order.u32(number));
        }
        out.extend_from_slice(packet);
    }
    out
}

/// Blocks of a pcapng section.
#[derive(Clone, Debug)]
pub(crate) struct Ng {
    order: Order,
    /// `if_tsresol`, `if_tsoffset` of the interfaces so far.
    clocks: Vec<(u8, i64)>,
    pub(crate) out: Vec<u8>,
}

impl Ng {
    pub(crate) fn new(order: Order) -> Self {
        let mut new = Self { order, clocks: Vec::new(), out: Vec::new() };
        let mut body = order.u32(0x1A2B_3C4D);
        body.extend(order.u16(1));
        body.extend(order.u16(0));
        body.extend(order.i64(-1));
        new.block(0x0A0D_0D0A, &body);
        new
    }

    pub(crate) fn block(&mut self, kind: u32, body: &[u8]) {
        let padded = body.len().next_multiple_of(4);
        let length = self.order.u32(u32::try_from(padded + 12).unwrap());
        self.out.extend(self.order.u32(kind));
        self.out.extend_from_slice(&length);
        self.out.extend_from_slice(body);
        self.out.resize(self.out.len() + padded - body.len(), 0);
        self.out.extend(length);
    }

    /// An interface whose clock counts so; `None` for microseconds, unsaid.
    pub(crate) fn interface(&mut self, link: u16, resolution: Option<u8>, offset: i64) {
        let mut body = self.order.u16(link);
        body.extend(self.order.u16(0));
        body.extend(self.order.u32(0));
        // if_name first, so that what matters does not stand at the beginning
        for (code, value) in [(2u16, b"eth0".to_vec()), (9, resolution.into_iter().collect())] {
            if !value.is_empty() {
                self.option(&mut body, code, &value);
            }
        }
        if offset != 0 {
            let value = self.order.i64(offset);
            self.option(&mut body, 14, &value);
        }
        self.option(&mut body, 0, &[]);
        self.block(1, &body);
        self.clocks.push((resolution.unwrap_or(6), offset));
    }

    fn option(&self, body: &mut Vec<u8>, code: u16, value: &[u8]) {
        body.extend(self.order.u16(code));
        body.extend(self.order.u16(u16::try_from(value.len()).unwrap()));
        body.extend_from_slice(value);
        body.resize(body.len().next_multiple_of(4), 0);
    }

    /// An enhanced packet block.
    pub(crate) fn packet(&mut self, interface: u32, at: Timestamp, packet: &[u8]) {
        let (resolution, offset) = self.clocks[interface as usize];
        let exponent = u32::from(resolution & 0x7F);
        let units = if resolution & 0x80 == 0 { 10i128.pow(exponent) } else { 1 << exponent };
        let nanoseconds = at.as_nanosecond() - i128::from(offset) * 1_000_000_000;
        // the next unit, so that a time between two is not cut to the one before
        let count = (nanoseconds * units + 999_999_999) / 1_000_000_000;
        let count = u64::try_from(count).unwrap();
        let mut body = self.order.u32(interface);
        body.extend(self.order.u32((count >> 32) as u32));
        body.extend(self.order.u32((count & 0xFFFF_FFFF) as u32));
        body.extend(self.order.u32(len(packet)));
        body.extend(self.order.u32(len(packet)));
        body.extend_from_slice(packet);
        self.block(6, &body);
    }

    /// A simple packet block.
    pub(crate) fn simple(&mut self, packet: &[u8]) {
        let body = [self.order.u32(len(packet)), packet.to_vec()].concat();
        self.block(3, &body);
    }
}

/// What a capture gives.
pub(crate) fn items(file: &[u8]) -> Vec<Item> {
    Capture::new(file).map(Result::unwrap).collect()
}

/// The events of a capture that has nothing else.
pub(crate) fn events(file: &[u8]) -> Vec<Event> {
    let items = items(file);
    let events = intact(&items);
    assert_eq!(events.len(), items.len(), "{items:?}");
    events
}

/// The events among the items, without what is damaged.
pub(crate) fn intact(items: &[Item]) -> Vec<Event> {
    let whole = |item: &Item| match item {
        Item::Event(event) if event.gap().is_none() => Some(event.clone()),
        _ => None,
    };
    items.iter().filter_map(whole).collect()
}

/// The numbers of the packets that said something.
pub(crate) fn numbers(events: &[Event]) -> Vec<u64> {
    let mut numbers: Vec<u64> = events.iter().map(|event| event.place.number).collect();
    numbers.dedup();
    numbers
}

pub(crate) fn gzip(octets: &[u8]) -> Vec<u8> {
    use std::io::Write;

    let mut out = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::default());
    out.write_all(octets).unwrap();
    out.finish().unwrap()
}

pub(crate) fn zstd(octets: &[u8]) -> Vec<u8> {
    let level = ruzstd::encoding::CompressionLevel::Fastest;
    ruzstd::encoding::compress_to_vec(octets, level)
}
