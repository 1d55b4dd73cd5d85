//! Causes that only a recording of packets shows: what the network says beside the datagrams, and who says it.

use handfast::scenario::{Acks, Leg};
use jiff::{SignedDuration, Timestamp};

use super::{Given, Pair, eui, pair, plan};
use crate::support::recording::{LINKS, Order, RAW, Shot, pcap, shots};

const SERVER: &str = "192.0.2.1";
const ROUTER: &str = "192.0.2.254";
const DATAGRAM_FROM_GATEWAY: [u8; 3] = [0, 2, 5];

pub(super) fn pairs() -> Vec<Pair> {
    let unanswered = || recorded(Acks::None, true);
    let [port, host, prohibited] = [3, 1, 13];
    vec![
        pair(
            "server-name-not-resolved",
            asks(NXDOMAIN, "020000FFFE000007"),
            // The name has an address; another host asks.
            [asks(RESOLVED, "020000FFFE000007"), beside_another_host()],
        ),
        pair(
            "server-port-closed",
            told(unanswered(), SERVER, port, usize::MAX),
            // A router says it; one error while the server's program is started anew.
            [
                told(unanswered(), ROUTER, port, usize::MAX),
                told(recorded(Acks::All, true), SERVER, port, 1),
            ],
        ),
        pair(
            "server-unreachable",
            told(unanswered(), ROUTER, host, usize::MAX),
            [
                told(unanswered(), SERVER, port, usize::MAX),
                told(recorded(Acks::All, true), ROUTER, prohibited, 1),
            ],
        ),
        pair(
            "protocol-versions-differ",
            file(acks_changed(|_, shot| shot.payload[0] = 1)),
            // Both speak version 1.
            [file(recorded(Acks::All, false).map_all(|shot| shot.payload[0] = 1))],
        ),
        pair(
            "answers-come-from-another-address",
            file(acks_changed(|_, shot| shot.from = "198.51.100.9:1700".parse().unwrap())),
            // Now and then: there are two servers.
            [file(acks_changed(|n, shot| {
                if n % 3 == 0 {
                    shot.from = "198.51.100.9:1700".parse().unwrap();
                }
            }))],
        ),
    ]
}

/// Datagrams on the wire, and the roster.
struct Recorded {
    shots: Vec<Shot>,
    roster: String,
}

impl Recorded {
    fn map_all(mut self, change: impl FnMut(&mut Shot)) -> Self {
        self.shots.iter_mut().for_each(change);
        self
    }
}

/// A gateway whose datagrams are acknowledged so, in both flows; with its own counts or without.
fn recorded(acks: Acks, counts: bool) -> Recorded {
    let mut leg = Leg::new(2026, plan("EU868"));
    leg.minutes = 6;
    let side = &mut leg.sides[0];
    (side.push_acks, side.pull_acks) = (acks, acks);
    side.downlinks.every = 0;
    if !counts {
        side.reports_every_s = None;
    }
    let recording = leg.play();
    Recorded { shots: shots(&recording.capture, false), roster: recording.roster }
}

/// What the server sends, each changed by its place.
fn acks_changed(mut change: impl FnMut(usize, &mut Shot)) -> Recorded {
    let mut n = 0;
    recorded(Acks::All, false).map_all(|shot| {
        if !is_from_gateway(shot) {
            change(n, shot);
            n += 1;
        }
    })
}

fn is_from_gateway(shot: &Shot) -> bool {
    DATAGRAM_FROM_GATEWAY.contains(&shot.payload[3])
}

fn file(recorded: Recorded) -> Given {
    let packets: Vec<_> = recorded.shots.iter().map(|shot| (shot.at, shot.ip())).collect();
    given(RAW.number, &packets, recorded.roster)
}

fn given(link: u16, packets: &[(Timestamp, Vec<u8>)], roster: String) -> Given {
    Given { capture: pcap(Order::Little, false, link, packets), roster, config: None }
}

/// The recording with errors of the network about the first so many datagrams (RFC 792, type 3).
fn told(recorded: Recorded, by: &str, code: u8, times: usize) -> Given {
    let mut packets = Vec::new();
    let mut left = times;
    for shot in &recorded.shots {
        let ip = shot.ip();
        packets.push((shot.at, ip.clone()));
        if is_from_gateway(shot) && left > 0 {
            left -= 1;
            let at = shot.at.checked_add(SignedDuration::from_millis(2)).unwrap();
            packets.push((at, icmp(by, &shot.from.ip().to_string(), code, &ip)));
        }
    }
    packets.sort_by_key(|(at, _)| *at);
    given(RAW.number, &packets, recorded.roster)
}

/// Type 3, its code, an unused word, then IP header and 8 bytes of the datagram that it is about.
fn icmp(by: &str, to: &str, code: u8, about: &[u8]) -> Vec<u8> {
    let mut message = vec![3, code, 0, 0, 0, 0, 0, 0];
    message.extend_from_slice(&about[..28]);
    let sum = checksum(&message).to_be_bytes();
    message[2..4].copy_from_slice(&sum);
    let length = u16::try_from(20 + message.len()).unwrap().to_be_bytes();
    let mut out = vec![0x45, 0, length[0], length[1], 0, 1, 0, 0, 64, 1, 0, 0];
    for address in [by, to] {
        out.extend(address.parse::<std::net::Ipv4Addr>().unwrap().octets());
    }
    let sum = checksum(&out).to_be_bytes();
    out[10..12].copy_from_slice(&sum);
    out.extend(message);
    out
}

/// RFC 1071.
fn checksum(octets: &[u8]) -> u16 {
    let word = |pair: &[u8]| u32::from(pair[0]) << 8 | u32::from(pair.get(1).copied().unwrap_or(0));
    let sum: u32 = octets.chunks(2).map(word).sum();
    let folded = (sum & 0xFFFF) + (sum >> 16);
    !u16::try_from((folded & 0xFFFF) + (folded >> 16)).unwrap()
}

/// Flags of an answer, how many records it has, and the records (RFC 1035, 4.1).
type Answer = (u16, u16, &'static [u8]);
const NXDOMAIN: Answer = (0x8183, 0, &[]);
const RESOLVED: Answer = (0x8180, 1, b"\xC0\x0C\0\x01\0\x01\0\0\0\x3C\0\x04\xC6\x33\x64\x07");

fn message(id: u16, (flags, answers, records): Answer) -> Vec<u8> {
    let mut out = id.to_be_bytes().to_vec();
    for number in [flags, 1, answers, 0, 0] {
        out.extend(number.to_be_bytes());
    }
    out.extend(b"\x03lns\x07orchard\x07example\0\0\x01\0\x01");
    out.extend(records);
    out
}

/// A host at 02:00:00:00:00:07 that asks six times for its server's name, and gets that answer.
fn questions(answer: Answer) -> Vec<(Timestamp, Vec<u8>)> {
    let ethernet = &LINKS[0];
    let mut packets = Vec::new();
    for n in 0..6_u16 {
        let at = format!("2026-04-11T06:3{n}:00Z");
        let (host, resolver) = ("192.0.2.7:50123", "192.0.2.53:53");
        let asked = Shot::new(&at, host, resolver, &message(n, (0x0100, 0, &[])));
        let told = Shot::new(&at.replace(":00Z", ":00.02Z"), resolver, host, &message(n, answer));
        packets.extend([asked, told].map(|shot| (shot.at, ethernet.packet(&shot.ip()))));
    }
    packets
}

fn asks(answer: Answer, gateway: &str) -> Given {
    let roster = format!("[[gateway]]\neui = \"{}\"\nname = \"barn\"\n", eui(gateway).hex());
    given(LINKS[0].number, &questions(answer), roster)
}

/// The questions of a host that is none of the two gateways.
fn beside_another_host() -> Given {
    let mut given = asks(NXDOMAIN, "020000FFFE5C3D94");
    given.roster += "\n[[gateway]]\neui = \"020000fffea01827\"\nname = \"gate\"\n";
    given
}
