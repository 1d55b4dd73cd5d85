//! Recorded packets through the one door for captures: link layers, clocks, damage, who talks to whom.

use std::io::{self, Cursor, Read};

use handfast::id::Eui64;
use handfast::intake::{
    Capture, Datagram, Flaw, IntakeError, Item, Kind, LoraTap, OpenOptions, PacketError,
    PassedOver, TxError, Unit, UnpackError,
};
use jiff::Timestamp;

mod damage;
mod packed;
mod talk;

use crate::support::recording::{
    LINKS, Ng, Order, RAW, Shot, datagrams, gzip, items, only_datagrams, pcap, wire, zstd,
};

const EUI: &str = "020000fffea09442";
const OTHER: &str = "020000fffea09443";
const GATEWAY: &str = "192.0.2.7:40123";
const SERVER: &str = "192.0.2.1:1700";
const RXPK: &str =
    r#"{"rxpk":[{"tmst":369601898,"freq":868.3,"datr":"SF9BW125","data":"QNq7AQIAAQACx4c="}]}"#;
const TXPK: &str =
    r#"{"txpk":{"tmst":374601898,"freq":868.3,"datr":"SF9BW125","data":"YPF9vgIAAQACx4c="}}"#;
const LATE: &str = r#"{"txpk_ack":{"error":"TOO_LATE"}}"#;
const AT: &str = "2026-04-18T06:10:03.210692Z";

fn up(at: &str, token: u16, kind: Kind, json: &str) -> Shot {
    Shot::new(at, GATEWAY, SERVER, &wire(2, token, kind, Some(EUI), json))
}

fn down(at: &str, token: u16, kind: Kind, json: &str) -> Shot {
    Shot::new(at, SERVER, GATEWAY, &wire(2, token, kind, None, json))
}

/// Every identifier, in both versions, and a TX_ACK of the older document.
fn talk() -> Vec<Shot> {
    vec![
        up("2026-04-18T06:10:00.000001Z", 1, Kind::PullData, ""),
        down("2026-04-18T06:10:00.1Z", 1, Kind::PullAck, ""),
        up("2026-04-18T06:10:03Z", 0x7B22, Kind::PushData, RXPK),
        down("2026-04-18T06:10:03.05Z", 0x7B22, Kind::PushAck, ""),
        down("2026-04-18T06:10:03.2Z", 0x0384, Kind::PullResp, TXPK),
        up("2026-04-18T06:10:03.201Z", 0x0384, Kind::TxAck, LATE),
        down("2026-04-18T06:10:04Z", 5, Kind::PullResp, TXPK),
        Shot::new(
            "2026-04-18T06:10:04.001Z",
            GATEWAY,
            SERVER,
            &wire(2, 5, Kind::TxAck, None, LATE),
        ),
        Shot::new(
            "2026-04-18T06:10:05Z",
            GATEWAY,
            SERVER,
            &wire(1, 6, Kind::PullData, Some(EUI), ""),
        ),
        Shot::new("2026-04-18T06:10:06Z", SERVER, GATEWAY, &wire(1, 0, Kind::PullResp, None, TXPK)),
    ]
}

fn file(shots: &[Shot]) -> Vec<u8> {
    let packets: Vec<_> = shots.iter().map(|shot| (shot.at, shot.ip())).collect();
    pcap(Order::Little, true, RAW.number, &packets)
}

/// The datagrams without the packets' numbers.
fn contents(datagrams: Vec<Datagram>) -> Vec<Datagram> {
    datagrams.into_iter().map(|datagram| Datagram { line: 0, ..datagram }).collect()
}

fn skipped(items: &[Item]) -> Vec<(u64, String)> {
    items
        .iter()
        .filter_map(|item| match item {
            Item::Skipped { line, why } => Some((*line, why.to_string())),
            _ => None,
        })
        .collect()
}

fn passed(items: &[Item]) -> PassedOver {
    match items.last() {
        Some(Item::PassedOver(passed)) => *passed,
        _ => PassedOver::default(),
    }
}

#[test]
fn every_identifier_of_both_versions_is_read_with_its_gateway_and_token() {
    let got: Vec<_> = datagrams(&file(&talk()))
        .into_iter()
        .map(|d| {
            assert_eq!((d.unit, d.gateway.map(Eui64::hex).as_deref()), (Unit::Packet, Some(EUI)));
            (d.line, d.kind, d.token)
        })
        .collect();
    let wanted = [
        (1, Kind::PullData, Some(1)),
        (2, Kind::PullAck, Some(1)),
        (3, Kind::PushData, Some(0x7B22)),
        (4, Kind::PushAck, Some(0x7B22)),
        (5, Kind::PullResp, Some(0x0384)),
        (6, Kind::TxAck, Some(0x0384)),
        (7, Kind::PullResp, Some(5)),
        (8, Kind::TxAck, Some(5)),
        (9, Kind::PullData, Some(6)),
        (10, Kind::PullResp, None),
    ];
    assert_eq!(got, wanted);
    let all = datagrams(&file(&talk()));
    assert_eq!(all[2].at, Some("2026-04-18T06:10:03Z".parse().unwrap()));
    assert_eq!(all[2].rxpk[0].octets.len(), 11);
    assert_eq!(all[5].ack.as_ref().unwrap().error, TxError::TooLate);
    assert_eq!(all[7].ack.as_ref().unwrap().error, TxError::TooLate);
}

#[test]
fn every_link_layer_carries_the_same_datagrams() {
    let wanted = datagrams(&file(&talk()));
    for link in LINKS {
        for order in [Order::Big, Order::Little] {
            for nanos in [true, false] {
                let packets: Vec<_> =
                    talk().iter().map(|shot| (shot.at, link.packet(&shot.ip()))).collect();
                let got = datagrams(&pcap(order, nanos, link.number, &packets));
                assert_eq!(got, wanted, "{} {order:?} {nanos}", link.name);
            }
        }
    }
}

#[test]
fn version_6_of_ip_carries_the_same_datagrams() {
    let v6 = |shot: &Shot| {
        let v6 = |at: std::net::SocketAddr| {
            format!("[2001:db8::{}]:{}", at.ip().to_string().rsplit('.').next().unwrap(), at.port())
        };
        Shot {
            from: v6(shot.from).parse().unwrap(),
            to: v6(shot.to).parse().unwrap(),
            ..shot.clone()
        }
    };
    let wanted = datagrams(&file(&talk()));
    for link in LINKS {
        let packets: Vec<_> =
            talk().iter().map(|shot| (shot.at, link.packet(&v6(shot).ip()))).collect();
        assert_eq!(
            datagrams(&pcap(Order::Big, true, link.number, &packets)),
            wanted,
            "{}",
            link.name
        );
    }
}

#[test]
fn every_clock_of_an_interface_tells_the_same_time() {
    // A time that each of these units can tell: whole seconds and a half.
    let at: Timestamp = "2026-04-18T06:10:03.5Z".parse().unwrap();
    for order in [Order::Big, Order::Little] {
        for resolution in [None, Some(3), Some(6), Some(9), Some(0x81), Some(0x8A), Some(0x9F)] {
            for offset in [0, 1_776_000_000, -3_600] {
                let mut ng = Ng::new(order);
                ng.interface(RAW.number, resolution, offset);
                ng.packet(0, at, &up(AT, 1, Kind::PushData, RXPK).ip());
                let got = datagrams(&ng.out);
                assert_eq!(got[0].at, Some(at), "{order:?} {resolution:?} {offset}");
            }
        }
    }
}

#[test]
fn sections_of_either_order_have_interfaces_of_their_own() {
    let push = |token| up(AT, token, Kind::PushData, RXPK).ip();
    let at: Timestamp = AT.parse().unwrap();
    let mut first = Ng::new(Order::Little);
    first.interface(1, Some(6), 0);
    first.interface(RAW.number, Some(9), 0);
    first.packet(1, at, &push(1));
    first.block(4, b"names of hosts: passed over......");
    first.block(5, &[0; 16]);
    first.packet(0, at, &LINKS[0].packet(&push(2)));
    let mut second = Ng::new(Order::Big);
    second.interface(276, Some(6), 0);
    second.packet(0, at, &LINKS[4].packet(&push(3)));
    second.simple(&LINKS[4].packet(&push(4)));
    let got = datagrams(&[first.out, second.out.clone()].concat());
    let got: Vec<_> = got.into_iter().map(|d| (d.line, d.token, d.at)).collect();
    assert_eq!(
        got,
        [
            (1, Some(1), Some(at)),
            (2, Some(2), Some(at)),
            (3, Some(3), Some(at)),
            (4, Some(4), None)
        ]
    );
    // interface 1 belonged to the section before
    let second_only = [Ng::new(Order::Little).out, second.out].concat();
    assert_eq!(items(&second_only).len(), 2);
    let mut third = Ng::new(Order::Little);
    third.interface(RAW.number, Some(6), 0);
    let mut lost = Ng::new(Order::Little);
    lost.interface(RAW.number, Some(6), 0);
    lost.interface(RAW.number, Some(6), 0);
    let start = lost.out.len();
    lost.packet(1, at, &push(5));
    third.out.extend_from_slice(&lost.out[start..]);
    let why = skipped(&items(&third.out));
    assert_eq!(why.len(), 1);
    assert!(why[0].1.contains("interface 1, which this section does not describe"), "{why:?}");
}

fn ng_of(shots: &[Shot], order: Order) -> (Vec<u8>, Vec<usize>) {
    let mut ng = Ng::new(order);
    ng.interface(1, Some(9), 0);
    let mut ends = vec![ng.out.len()];
    for shot in shots {
        ng.packet(0, shot.at, &LINKS[0].packet(&shot.ip()));
        ends.push(ng.out.len());
    }
    (ng.out, ends)
}

#[test]
fn frames_in_loratap_come_as_the_datagrams_that_would_have_told_of_them() {
    let at: Timestamp = AT.parse().unwrap();
    let header = LoraTap {
        freq_hz: Some(868_300_000),
        gateway: Some(EUI.parse().unwrap()),
        counter: Some(369_601_898),
        inverted: Some(false),
        ..LoraTap::default()
    };
    let up = [&header.octets()[..], b"\x40uplink"].concat();
    let down = [&LoraTap { inverted: Some(true), ..header }.octets()[..], b"\x60downlink"].concat();
    // version 0: the first 15 octets, with their length
    let mut short = [&header.octets()[..15], b"\x40uplink"].concat();
    short[0] = 0;
    short[3] = 15;
    let packets = [up, down, short, vec![9, 0, 0, 0, 1]].map(|packet| (at, packet));
    let got = items(&pcap(Order::Big, true, 270, &packets));
    let kinds: Vec<_> =
        only_datagrams(got.clone()).iter().map(|d| (d.line, d.kind, d.gateway.is_some())).collect();
    assert_eq!(
        kinds,
        [
            (1, Kind::PushData, true),
            (2, Kind::PullResp, true),
            (2, Kind::TxAck, true),
            (3, Kind::PushData, false)
        ]
    );
    // 24 octets of file header, 16 before each packet: 58, 60 and 38 octets come before the fourth
    assert_eq!(skipped(&got)[0].1, "octet 196: 15 octets of LoRaTap header needed, 5 left");
}

#[test]
fn what_is_no_recording_is_text() {
    for text in ["\n\r\r\n{\"stat\":{}}\n", "{\"stat\":{}}", "QNq7AQIAAQACx4c=\n", ""] {
        let got = items(text.as_bytes());
        assert!(!got.iter().any(|item| matches!(item, Item::Skipped { .. })), "{text:?}: {got:?}");
    }
    let mut capture =
        Capture::open(Box::new(Cursor::new(b"{\"stat\":{}}")), OpenOptions::default());
    assert!(capture.next().is_some());
    assert_eq!(capture.unit(), Unit::Line);
}
